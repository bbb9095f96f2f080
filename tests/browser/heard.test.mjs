// What is heard of a change, and where the jumps lead: a page is told by its live region, headings and links alone.
import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import { follow, packs, plain, visitor, withAndWithout } from './design.mjs';
import { launch, open } from './support.mjs';

let browser;
let pack;
before(async () => {
  browser = await launch();
  [pack] = await packs();
});
after(() => browser.close());
const visit = visitor(() => browser);

for (const width of [1280, 390])
  for (const at of ['pack', 'current.1'])
    test(`the jump to the content passes the list of parts, ${at}, ${width} px`, () =>
      visit({ viewport: { width, height: 844 } }, async (page) => {
        await open(page, pack + at);
        await page.keyboard.press('Tab');
        await page.keyboard.press('Enter');
        await page.waitForFunction(() => document.activeElement?.localName === 'h1');
        await page.keyboard.press('Tab');
        assert.equal(plain(await page.evaluate(() => document.activeElement.textContent)), 'The whole design');
      }));

// All that a live region says, in order.
async function listen(page) {
  await page.evaluate(() => {
    window.heard = [];
    new MutationObserver(() => window.heard.push(document.getElementById('live-status').textContent)).observe(document.getElementById('live-status'), { childList: true, characterData: true, subtree: true });
  });
  return async () => (await page.evaluate(() => window.heard)).map(plain);
}
const sentence = (page, pattern) => page.waitForFunction((words) => new RegExp(words).test(window.heard.at(-1)), pattern.source);
const standing = (page) => page.locator('.whole .v').innerText().then(plain);

for (const [at, key, text] of [
  ['pack', 'pack.ambient_max_degc', '120'],
  ['current.1', 'current.1.shunt.resistance_ohm', '100u'],
])
  test(`a change on ${at} tells what it makes of the whole design`, () =>
    visit({}, async (page) => {
      await open(page, pack + at);
      const was = await standing(page);
      const heard = await listen(page);
      await page.locator(`[id="${key}"]`).fill(text);
      await sentence(page, /The design: /);
      const now = await standing(page);
      assert.notEqual(now, was);
      assert.ok((await heard()).at(-1).endsWith(`The design: ${now}; was ${was}.`), (await heard()).join('\n'));
    }));

// On a page of a part and on one of a calculation: an entry that is refused, its name, and what is said of it.
const refused = () => [
  [`${pack}current.1`, 'current.1.shunt.resistance_ohm', '36O', /^Resistance: .*letter O.* 1 value needs a correction\./],
  ['/thermistor', 'beta.beta_k', '1 V', /^Beta\b.*(volt|kelvin).* 1 value needs a correction\./],
];
for (const at of [0, 1])
  test(`a wrong entry is told by its name and its error, ${['part', 'calculation'][at]}`, () =>
    visit({}, async (page) => {
      const [path, key, text, words] = refused()[at];
      await open(page, path);
      const heard = await listen(page);
      await page.locator(`[id="${key}"]`).fill(text);
      await sentence(page, /correction/);
      assert.match((await heard()).at(-1), words);
      // And of two the one that is typed into.
      const [other] = await page.locator('.f input:visible').evaluateAll((nodes, not) => nodes.map((node) => node.name).filter((name) => name > not && /ohm|percent/.test(name)), key);
      await page.locator(`[id="${other}"]`).fill('furlong');
      await sentence(page, /2 values need a correction/);
      assert.match((await heard()).at(-1), /furlong/);
    }));

test('the live region waits for a rest and does not repeat itself', () =>
  visit({}, async (page) => {
    await open(page, '/divider');
    const heard = await listen(page);
    const box = page.locator('[id="converter_full_scale_v"]');
    await box.focus();
    await page.keyboard.press('Control+A');
    for (const letter of '1.25e0') {
      await page.keyboard.type(letter);
      await page.waitForTimeout(700);
    }
    await sentence(page, /^Recalculated/);
    for (const letter of ' V') {
      await page.keyboard.type(letter);
      await page.waitForTimeout(1700);
    }
    await page.keyboard.press('Tab');
    await page.waitForTimeout(1700);
    const said = await heard();
    assert.equal(said.length, 1, said.join('\n'));
  }));

// The headings that are heard, with their levels.
async function outline(page) {
  const session = await page.context().newCDPSession(page);
  const { nodes } = await session.send('Accessibility.getFullAXTree');
  const level = (node) => node.properties.find(({ name }) => name === 'level').value.value;
  return nodes.filter((node) => !node.ignored && node.role.value === 'heading').map((node) => [level(node), plain(node.name.value)]);
}

for (const at of ['current.1', 'pack', '/divider', '/thermistor'])
  test(`groups, requirements, budgets and charts of ${at} are reached by heading`, () =>
    visit({}, async (page) => {
      await open(page, at.startsWith('/') ? at : pack + at);
      const found = await outline(page);
      const seen = await page.evaluate(() => {
        const shown = (node) => node.checkVisibility({ contentVisibilityAuto: true }) && node.getClientRects().length > 0;
        const own = (node) => [...node.childNodes].filter((one) => one.localName !== 'small' && one.localName !== 'span').map((one) => one.textContent).join('').trim().replace(/\s+/g, ' ');
        return [...document.querySelectorAll('form legend, .own caption, .bud caption:not(.vh), .chart figcaption:not(.cap)')].filter(shown).map(own);
      });
      assert.ok(seen.length > 3);
      for (const name of seen) assert.ok(found.some(([, told]) => told === name), `${name} in ${found.join('; ')}`);
      found.reduce((before, [level, name]) => (assert.ok(level <= before + 1, `${name} is ${level} below ${before}`), level), 0);
    }));

for (const width of [1280, 390])
  test(`from values to results and back by a link, ${width} px`, () =>
    visit({ viewport: { width, height: 844 } }, async (page) => {
      for (const [path, ...names] of [
        [`${pack}current.1`, 'To the values', 'Go to the results'],
        ['/divider', 'Change the values', 'Go to the results'],
      ]) {
        await open(page, path);
        const high = await page.evaluate(() => document.scrollingElement.scrollHeight);
        for (const name of names) {
          const link = page.getByRole('link', { name, exact: true });
          await link.focus();
          const box = await link.boundingBox();
          assert.ok(box.width > 40 && box.height > 15, `${name} shows while it has the focus`);
          assert.equal(await page.evaluate(() => document.scrollingElement.scrollHeight), high, `${name} moves nothing`);
          await page.keyboard.press('Enter');
          await page.keyboard.press('Tab');
          const goal = name === 'Go to the results' ? '#results' : '#values';
          assert.ok(await page.evaluate((at) => document.querySelector(at).contains(document.activeElement), goal), name);
        }
      }
    }));

for (const [javaScriptEnabled, how] of withAndWithout)
  test(`a group that the choices leave out says that it does not count now, ${how}`, () =>
    visit({ javaScriptEnabled }, async (page) => {
      for (const path of ['/thermistor', '/thermistor/table']) {
        await open(page, path);
        const legend = (id) => page.locator(`fieldset[id="${id}"] > legend > :first-child`).innerText().then(plain);
        assert.equal(await legend('beta'), 'Beta');
        assert.equal(await legend('steinhart_hart'), 'Steinhart-Hart, does not count now');
        await page.locator('[id="curve"]').selectOption('steinhart-hart');
        if (javaScriptEnabled) await page.waitForFunction(() => /not count/.test(document.querySelector('fieldset[id=beta] > legend').textContent));
        else await follow(page, page.getByRole('button', { name: 'Recalculate' }));
        assert.equal(await legend('beta'), 'Beta, does not count now');
        assert.equal(await legend('steinhart_hart'), 'Steinhart-Hart');
      }
      assert.equal(await page.locator('legend', { hasText: 'Requirement' }).filter({ hasText: 'does not count' }).count(), 0);
    }));
