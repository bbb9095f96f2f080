// Back and Forward: at every step the fields are those of the address.
import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import { chromium } from 'playwright-core';
import {
  change,
  enter,
  field,
  fill,
  follow,
  packs,
  place,
  press,
  textOf,
  type,
  values,
  visitor,
  withAndWithout,
} from './design.mjs';
import { base, executablePath, launch, open } from './support.mjs';

let browser;
// With two current channels: what rests on one has to be asked which.
let pack;
before(async () => {
  browser = await launch();
  pack = (await packs())[1];
});
after(() => browser.close());
const visit = visitor(() => browser);

const resistance = 'current.1.shunt.resistance_ohm';

const seen = async (page) => ({
  title: await textOf(page, 'h1'),
  fields: await values(page),
  parts: await textOf(page, '.plist'),
});

// A page that script puts right takes a moment.
async function eventually(check) {
  const until = Date.now() + 5000;
  for (;;) {
    try {
      return await check();
    } catch (fault) {
      if (Date.now() > until) throw fault;
      await new Promise((wait) => setTimeout(wait, 50));
    }
  }
}

for (const [javaScriptEnabled, how] of withAndWithout) {
  test(`fields and address agree after every change, Back and Forward, ${how}`, { timeout: 180_000 }, () =>
    visit({ javaScriptEnabled }, async (page, context) => {
      const other = await context.newPage();
      const known = new Map();
      // What somebody sees who opens the address.
      const fresh = async (address) => {
        if (!known.has(address)) {
          await open(other, address);
          known.set(address, await seen(other));
        }
        return known.get(address);
      };
      const agree = async () => {
        await eventually(async () => {
          await page.evaluate(() => document.activeElement?.blur?.());
          const [now, wanted] = [await seen(page), await fresh(page.url())];
          for (const [key, text] of Object.entries(wanted.fields)) assert.equal(now.fields[key], text, key);
          assert.deepEqual([now.title, now.parts], [wanted.title, wanted.parts]);
        });
      };

      const steps = [];
      const step = async (name, act) => {
        await act();
        await agree();
        assert.notEqual(page.url(), steps.at(-1)?.address, name);
        steps.push({ name, address: page.url() });
      };
      await step('part', () => open(page, `${pack}current.1`));
      await step('typed', () => change(page, resistance, '36u', javaScriptEnabled));
      await step('another', () => change(page, 'current.1.shunt.rated_power_w', '41', javaScriptEnabled));
      await step('overview', () => follow(page, page.getByRole('link', { name: 'The whole design' })));
      await step('added', async () => {
        await page.locator('.padd').getByLabel('Current threshold', { exact: true }).check();
        await press(page, page.getByRole('button', { name: 'Add what is ticked' }));
      });
      const added = place(page.url())[1];
      assert.match(added, /^protection\.\d+$/);
      assert.equal(await page.locator(field(`${added}.rests_on`)).inputValue(), '', 'which of the two is asked');
      await step('tied', () => change(page, `${added}.rests_on`, '2', javaScriptEnabled));
      await step('removed', () => press(page, page.getByRole('button', { name: /^Remove/ })));
      assert.equal(await page.locator(`.plist a[href="${added}"]`).count(), 0);

      for (const { name, address } of steps.slice(0, -1).reverse()) {
        await page.goBack();
        await eventually(() => assert.equal(page.url(), address, `back to ${name}`));
        await agree();
      }
      for (const { name, address } of steps.slice(1)) {
        await page.goForward();
        await eventually(() => assert.equal(page.url(), address, `forward to ${name}`));
        await agree();
      }
    }),
  );
}

test('a field is one step however often it is typed into, and a slip is none', () =>
  visit({}, async (page) => {
    await open(page, `${pack}current.1`);
    const start = page.url();
    const length = () => page.evaluate(() => history.length);
    const before = await length();
    await type(page, resistance, '36u');
    await type(page, resistance, '37u');
    await fill(page, resistance, '37O');
    await page.waitForFunction(() => /correction/.test(document.querySelector('#live-status').textContent));
    assert.equal(await length(), before + 1);
    await page.goBack();
    await eventually(() => assert.equal(page.url(), start));
    await eventually(async () => assert.notEqual(await page.locator(field(resistance)).inputValue(), '37O'));
  }));

test('typing and Enter are one step', () =>
  visit({}, async (page) => {
    await open(page, `${pack}current.1`);
    const start = page.url();
    // The answer takes longer than the pause after which typing alone asks the server.
    await page.route('**/current.1', async (route) => {
      if (route.request().isNavigationRequest()) await new Promise((wait) => setTimeout(wait, 1500));
      await route.continue();
    });
    await page.locator(field(resistance)).fill('36u');
    await Promise.all([page.waitForEvent('load'), enter(page.locator(field(resistance)))]);
    await page.waitForLoadState('networkidle');
    await page.unroute('**/current.1');
    await page.goBack();
    await eventually(() => assert.equal(page.url(), start));
  }));

// Browsers keep a page that is left as it was left, with what was typed. Only one that is asked to does it here.
test('a page that the browser kept shows the fields of its address', async () => {
  const keeping = await chromium.launch({
    executablePath,
    ignoreDefaultArgs: ['--disable-back-forward-cache'],
    args: ['--no-sandbox', '--disable-gpu'],
  });
  try {
    const page = await keeping.newPage();
    await page.goto(new URL(`${pack}current.1`, base).href);
    const before = await page.locator(field(resistance)).inputValue();
    const start = page.url();
    await page.locator(field(resistance)).fill('36u');
    await Promise.all([page.waitForURL(/~/), enter(page.locator(field(resistance)))]);
    await page.waitForLoadState('networkidle');
    await page.evaluate(() => history.back());
    await eventually(() => assert.equal(page.url(), start));
    await eventually(async () => assert.equal(await page.locator(field(resistance)).inputValue(), before));
  } finally {
    await keeping.close();
  }
});
