// A calculation alone tells what alone would turn what fails: with script once the answer stands, without by a link.
import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import { field, follow, plain, textOf, visitor, withAndWithout } from './design.mjs';
import { audited, hindrancesBothWays, launch, open } from './support.mjs';

let browser;
before(async () => (browser = await launch()));
after(() => browser.close());
const visit = visitor(() => browser);

const failing = [
  '/divider?v=1&upper.max_working_v=110',
  '/shunt?v=1&shunt.rated_power_w=5',
  '/current-channel?v=1&load.full_scale_a=1k6',
  '/shunt/parallel?v=1&allowed_share_error_percent=1',
];

// How each requirement stands, by its name.
const stands = async (page) =>
  Object.fromEntries(
    await page.locator('table.req tbody').evaluateAll((rows) =>
      rows.map((row) => [row.querySelector('th').textContent.trim(), row.querySelector('.v').textContent.trim()]),
    ),
  );

for (const [javaScriptEnabled, how] of withAndWithout) {
  test(`what alone turns a failure is told, and its link does what it says, ${how}`, () =>
    visit({ javaScriptEnabled }, async (page) => {
      for (const path of failing) {
        await open(page, path);
        const before = await stands(page);
        assert.equal(await textOf(page, '#turns-h'), 'What alone would turn it', path);
        if (!javaScriptEnabled) await follow(page, page.getByRole('link', { name: 'Look for single values that do' }));
        const cause = page.locator('.turns ol > li').first();
        await cause.waitFor();
        const name = plain(await cause.locator('h4').innerText());
        assert.equal(before[name], 'Fails', `${path}: ${name}`);
        const lever = cause.locator('a.lever').first();
        const effect = plain(await cause.locator('.levers .then').first().textContent());
        const [, number] = effect.match(/; (no|\d+) other rows? changes?/);
        await follow(page, lever);
        const now = await stands(page);
        const [word] = effect.match(/this row then (holds|thin)/).slice(1);
        assert.equal(now[name].toLowerCase(), word, `${path}: ${effect}`);
        const others = Object.keys(before).filter((row) => row !== name && now[row] !== before[row]);
        assert.equal(others.length, number === 'no' ? 0 : Number(number), `${path}: ${effect}`);
        await page.goBack();
        assert.deepEqual(await stands(await (javaScriptEnabled ? page : back(page))), before, 'Back undoes it');
      }
    }));
}

async function back(page) {
  await follow(page, page.getByRole('link', { name: 'Back to the calculation' }));
  return page;
}

test('the answer does not wait for what turns it, and what is told follows what is typed', () =>
  visit({}, async (page) => {
    await page.route('**/turns?*', async (route) => {
      await new Promise((later) => setTimeout(later, 600));
      await route.continue();
    });
    await open(page, failing[0]);
    assert.equal(await page.locator('.turns a.lever').count(), 0);
    assert.equal(await page.locator('.verdict .v').first().innerText().then(plain), 'Fails');
    await page.locator('.turns a.lever').first().waitFor();
    const old = await page.locator('.turns a.lever').first().getAttribute('href');
    const from = page.url();
    await page.locator(field('input_max_v')).fill('900');
    await page.waitForFunction((url) => location.href !== url, from);
    // A way that is no longer true is gone at once, and its place is kept.
    assert.equal(await page.locator('.turns a.lever').count(), 0);
    await page.locator('.turns a.lever').first().waitFor();
    assert.notEqual(await page.locator('.turns a.lever').first().getAttribute('href'), old);
    await page.locator(field('upper.max_working_v')).fill('500');
    await page.waitForFunction(() => document.querySelector('.verdict .v').textContent.trim() !== 'Fails');
    assert.equal(await page.locator('.turns').count(), 0);
  }));

test('where no single value turns it, what takes and what moves most is named', () =>
  visit({}, async (page) => {
    await open(page, '/current-channel?v=1&load.full_scale_a=1k3&requirement.gain_percent=0.3');
    await page.locator('.turns ol > li').first().waitFor();
    const said = await textOf(page, '.turns .levers .then');
    assert.match(said, /No single value of its parts turns it/);
    assert.match(said, /Largest part: .+\. It is moved most by .+, .+ and .+\.$/);
  }));

test('it is accessible and no wider than its window, on its own page, too', () =>
  visit({}, async (page, context) => {
    await audited(context);
    for (const path of [failing[0], failing[0].replace('?', '/turns?')])
      for (const width of [1280, 390, 320]) {
        await page.setViewportSize({ width, height: 900 });
        await open(page, path);
        await page.locator('.turns a.lever').first().waitFor();
        assert.deepEqual(await hindrancesBothWays(page), [], `${path} ${width}`);
        assert.ok((await page.evaluate(() => document.scrollingElement.scrollWidth)) <= width, `${path} ${width}`);
      }
  }));

for (const [javaScriptEnabled, how] of withAndWithout)
  test(`where rows that hold would turn stands folded, and is looked for when it is opened, ${how}`, () =>
    visit({ javaScriptEnabled }, async (page) => {
      let asked = 0;
      page.on('request', (request) => (asked += Number(request.url().includes('/nearest?'))));
      await open(page, '/divider?v=1');
      const fold = page.locator('details').filter({ hasText: 'Where rows that hold would turn' });
      assert.equal(await fold.evaluate((node) => node.open), false);
      assert.equal(asked, 0);
      await fold.locator('summary').click();
      if (!javaScriptEnabled) await follow(page, fold.getByRole('link'));
      const row = page.locator('li', { hasText: 'Would turn' }).first();
      await row.waitFor();
      assert.match(plain(await row.textContent()), /^.+: Would turn (above|below) [^;]+; now [^:]+: .+$/);
      assert.equal(asked, 1);
      assert.match(await row.locator('a').getAttribute('href'), javaScriptEnabled ? /^#/ : /^\/divider\?v=1.*#/);
    }));

// What stands below a calculation alone, too: its fields may be named like properties of a form.
test('a page whose fields are named like properties of its form follows what is typed', () =>
  visit({}, async (page) => {
    await open(page, '/shunt/parallel?v=1');
    const from = page.url();
    await page.locator(field('current_a')).fill('310');
    await page.waitForFunction((url) => location.href !== url, from);
    assert.match(page.url(), /current_a=310/);
  }));

for (const [javaScriptEnabled, how] of withAndWithout)
  test(`where rows of a design that hold would turn is told for each part, and leads to the value, ${how}`, () =>
    visit({ javaScriptEnabled }, async (page) => {
      await open(page, '/demo/canal-library-bike');
      await page.locator('details.rest > summary').click();
      await follow(page, page.getByRole('link', { name: 'Where rows that hold would turn' }));
      const rows = page.locator('.verdict ul li').filter({ hasNotText: /now 0\s/ });
      assert.ok((await rows.count()) > 5);
      const words = plain(await rows.first().textContent());
      const [, value] = words.match(/: Would turn (?:above|below) [^;]+; now ([^:]+): .+$/);
      await follow(page, rows.first().locator('a'));
      const target = await page.evaluate(() => document.getElementById(location.hash.slice(1)).value);
      assert.ok(plain(target).startsWith(value.split(' ')[0]), `${words}: ${target}`);
      await page.goBack();
      await follow(page, page.getByRole('link', { name: 'Back to the design' }));
      assert.equal(await page.locator('#requirements').count(), 1);
    }));
