// The overview of a design: what fails first and what turns it, parts that come and go, what is handed on.
import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import {
  change,
  field,
  follow,
  handedOn,
  packs,
  place,
  plain,
  press,
  textOf,
  tokenOf,
  visitor,
  withAndWithout,
} from './design.mjs';
import { base, launch, open } from './support.mjs';

let browser;
let pack;
before(async () => {
  browser = await launch();
  [pack] = await packs();
});
after(() => browser.close());
const visit = visitor(() => browser);

const resistance = 'current.1.shunt.resistance_ohm';
const add = (page) => page.getByRole('button', { name: 'Add what is ticked' });
const parts = (page) =>
  page.locator('.plist th[scope="row"] a').evaluateAll((links) => links.map((link) => link.getAttribute('href')));
const whole = (page) => follow(page, page.getByRole('link', { name: 'The whole design' }));

test('the verdict and the worst cause are seen first', async () => {
  for (const viewport of [
    { width: 1280, height: 800 },
    { width: 390, height: 844 },
  ])
    await visit({ viewport }, async (page) => {
      await open(page, pack);
      assert.match(await textOf(page, '.verdict .lead'), /requirements? hold/);
      for (const seen of ['.verdict .lead', '.turns li .what'])
        assert.ok(
          await page
            .locator(seen)
            .first()
            .evaluate((node) => node.getBoundingClientRect().bottom <= innerHeight),
          `${seen} at ${viewport.width} px`,
        );
    });
});

for (const [javaScriptEnabled, how] of withAndWithout) {
  test(`an offered change stays on the page, does what it says and is taken back, ${how}`, () =>
    visit({ javaScriptEnabled }, async (page) => {
      await open(page, pack);
      const start = handedOn(page.url());
      const lead = await textOf(page, '.verdict .lead');
      const lever = page.locator('.turns .levers a.lever').first();
      const [, fails] = (await textOf(page, '.turns .levers .then')).match(/^(\w+) fails? instead of/);
      await follow(page, lever);
      assert.equal(place(page.url())[1], '', 'the overview stays the overview');
      assert.match(await textOf(page, '.since summary'), /1 value$/);
      const now = await textOf(page, '.verdict .lead');
      assert.notEqual(now, lead);
      assert.match(now, fails === 'none' ? /^(?!.*\bfails?\b)/ : new RegExp(`\\b${fails} fails?\\b`));

      await page.locator('.since summary').click();
      const back = page.getByRole('link', { name: /^take back/ });
      await follow(page, back);
      assert.equal(handedOn(page.url()), start);
      assert.equal(await textOf(page, '.verdict .lead'), lead);
    }));
}

test('counting from here forgets where the visit began', () =>
  visit({ javaScriptEnabled: false }, async (page) => {
    await open(page, `${pack}current.1`);
    await change(page, resistance, '36u', false);
    await page.locator('.since summary').click();
    await follow(page, page.getByRole('link', { name: 'Count from here' }));
    assert.doesNotMatch(page.url(), /~/);
    assert.equal(await page.locator('.since').count(), 0);
  }));

test('letters that do not say where a visit began are told, and the design opens', () =>
  visit({ javaScriptEnabled: false }, async (page) => {
    await open(page, `/worksheet/${tokenOf(pack)}~AAAA/`);
    assert.match(await textOf(page, 'main [role="note"]'), /Where this visit began cannot be read/);
    assert.match(await textOf(page, '.verdict .lead'), /requirements? hold/);
  }));

test('a requirement leads to its part, a part to its page', () =>
  visit({ javaScriptEnabled: false }, async (page) => {
    await open(page, pack);
    const row = page.locator('#requirements th a').first();
    const [name] = plain(await row.innerText()).split(': ');
    await follow(page, row);
    assert.equal(await textOf(page, 'h1'), name);
    await whole(page);
    for (const at of ['pack', ...(await parts(page))])
      assert.equal((await fetch(`${base}${pack}${at}`)).status, 200, at);
  }));

test('parts come and go by ticks and buttons, and a file brings the same design', () =>
  visit({ javaScriptEnabled: false }, async (page) => {
    await open(page, pack);
    const before = await parts(page);
    for (const name of ['Voltage threshold', 'Reaction race'])
      await page.getByLabel(name, { exact: true }).first().check();
    assert.equal(await press(page, add(page)), 303);
    assert.match(page.url(), /#parts$/);
    const grown = await parts(page);
    const added = grown.filter((part) => !before.includes(part));
    assert.deepEqual(added.map((part) => part.split('.')[0]).sort(), ['protection', 'race']);
    const address = handedOn(page.url());

    const file = await (await fetch(new URL('document.json', address))).text();
    await open(page, '/worksheet');
    await page.locator('#document').fill(file);
    assert.equal(await press(page, page.getByRole('button', { name: 'Open', exact: true })), 303);
    assert.equal(handedOn(page.url()), address);

    for (const part of added) {
      await follow(page, page.locator(`.plist a[href="${part}"]`));
      assert.equal(await press(page, page.getByRole('button', { name: /^Remove/ })), 303);
    }
    assert.deepEqual(await parts(page), before);
  }));

test('a part is copied and moved', () =>
  visit({ javaScriptEnabled: false }, async (page) => {
    await open(page, `${pack}current.1`);
    await change(page, resistance, '36u', false);
    assert.equal(await press(page, page.getByRole('button', { name: 'Duplicate', exact: true })), 303);
    const copy = place(page.url())[1];
    assert.match(copy, /^current\.[2-9]$/);
    assert.equal(await page.locator(field(`${copy}.shunt.resistance_ohm`)).inputValue(), '36 µ');
    const ofCurrent = async () => (await parts(page)).filter((part) => part.startsWith('current.'));
    await whole(page);
    const order = await ofCurrent();
    await follow(page, page.locator(`.plist a[href="${copy}"]`));
    assert.equal(await press(page, page.getByRole('button', { name: 'Move up' })), 303);
    await whole(page);
    assert.notDeepEqual(await ofCurrent(), order);
    assert.deepEqual((await ofCurrent()).sort(), order.sort());
  }));

test('the block for the ticket is handed on by a button, with link and fingerprint', () =>
  visit({ permissions: ['clipboard-read', 'clipboard-write'] }, async (page) => {
    await open(page, `${pack}current.1`);
    await change(page, resistance, '36u', true);
    await whole(page);
    await page.getByRole('button', { name: 'Copy the block' }).click();
    await page.waitForFunction(() => document.querySelector('#live-status').textContent === 'Copied.');
    const block = await page.evaluate(() => navigator.clipboard.readText());
    assert.ok(block.includes(handedOn(page.url())), 'the link of what is seen');
    assert.match(block, /^- fingerprint: [0-9A-F]{8} /m);
    assert.match(block, /^- (fails|thin|holds): /m);
    assert.match(block, /^- assumed: [^\n]*Shunt A: /m);
    assert.equal(block, await page.locator('#ticket').evaluate((node) => node.textContent));
    await page.getByRole('button', { name: 'Copy link' }).click();
    assert.equal(await page.evaluate(() => navigator.clipboard.readText()), await page.locator('#addr').inputValue());
  }));

test('the badge is handed on as Markdown and as HTML, with the words of the verdict', () =>
  visit({ javaScriptEnabled: false }, async (page) => {
    await open(page, pack);
    const words = await page.locator('meta[name=description]').getAttribute('content');
    assert.match(words, /^Sensing: (fails|thin|holds|not judged) [\w ,]+$/, 'a preview tells the verdict alone');
    assert.equal(await page.locator('meta[property="og:title"]').getAttribute('content'), words);
    const here = handedOn(page.url());
    const text = (id) => page.locator(id).evaluate((node) => node.textContent);
    assert.equal(await text('#badge-markdown'), `[![${words}](${here}badge.svg)](${here})`);
    const drawn = await page.evaluate((html) => {
      const link = new DOMParser().parseFromString(html, 'text/html').querySelector('a');
      return [link.href, link.firstChild.src, link.firstChild.alt];
    }, await text('#badge-html'));
    assert.deepEqual(drawn, [here, `${here}badge.svg`, words]);
    const answer = await fetch(drawn[1]);
    assert.equal(answer.headers.get('cross-origin-resource-policy'), 'cross-origin', 'may stand in another page');
    assert.ok((await answer.text()).includes(`<title>${words}</title>`));
  }));

test('a design without a part says so', () =>
  visit({ javaScriptEnabled: false }, async (page) => {
    const file = await (await fetch(`${base}${pack}document.json`)).json();
    const { schema, title, pack: head, starts } = file;
    await open(page, '/worksheet');
    await page.locator('#document').fill(JSON.stringify({ schema, starts, title, pack: head }));
    assert.equal(await press(page, page.getByRole('button', { name: 'Open', exact: true })), 303);
    assert.match(await textOf(page, '.verdict'), /Nothing is judged yet/);
    assert.equal(await page.locator('.verdict .v').count(), 0, 'no word of a verdict');
  }));

test('the strip of a part counts what is thin apart, as the overview does', () =>
  visit({ javaScriptEnabled: false }, async (page) => {
    let told = 0;
    for (const path of await packs()) {
      await open(page, `${path}set?at=&requirements.thin_from_percent=50`);
      // Where its address is too long for a header, a page leads there.
      await page.waitForURL((url) => !url.search);
      const lead = await textOf(page, '.verdict .lead');
      if (/fail|judged|resolved/.test(lead)) continue;
      const [, hold, of, thin] = lead.match(/(\d+) of (\d+) requirements hold.*?, (\d+) (?:is|are) thin/);
      await open(page, `${new URL(page.url()).pathname}pack`);
      assert.match(await textOf(page, '.strip .cnt'), new RegExp(`^${hold} of ${of} hold, ${thin} thin`));
      told += 1;
    }
    assert.ok(told > 0);
  }));

test('where nothing fails the rows that are nearest to their limits say in their details where they would turn', () =>
  visit({}, async (page) => {
    let told = 0;
    for (const path of await packs()) {
      await open(page, path);
      const lines = page.locator('#requirements .why p').filter({ hasText: /^Would turn (above|below) [^;]+; now [^:]+: / });
      const fails = (await page.locator('#requirements .v-bad').count()) > 0;
      if (fails) assert.equal(await lines.count(), 0, path);
      told += await lines.count();
      if (await lines.count()) assert.equal(await lines.first().isVisible(), false, 'folded');
    }
    assert.ok(told > 0, 'some design holds');
  }));
