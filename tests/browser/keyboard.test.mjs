// The job by keyboard alone: from an empty page to a verdict, a row turned, a comparison and a page on paper. Nothing is
// pressed but keys, and every step is reached within a number of presses that a person bears.
import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import { begun, ferry, field, handedOn, textOf, visitor, withAndWithout } from './design.mjs';
import { launch, open } from './support.mjs';

let browser;
before(async () => (browser = await launch()));
after(() => browser.close());
const visit = visitor(() => browser);

// Presses from one thing to the next, at most: a page has some hundred links and fields.
const FAR = 190;
// Page loads from the pack to the comparison, at most.
const LOADS = 12;

// Goes by Tab, or back by Shift and Tab, until the target has the focus; what is folded is opened on the way.
async function go(page, target) {
  assert.equal(await target.count(), 1, `one target: ${target}`);
  for (let press = 0; press < FAR; press += 1) {
    const way = await target.evaluate((node) => {
      let fold = node.closest('details:not([open])');
      // The outermost first; its own words stand outside of what it hides.
      while (fold?.parentElement.closest('details:not([open])')) fold = fold.parentElement.closest('details:not([open])');
      const words = fold?.querySelector('summary');
      const goal = words && words !== node ? words : node;
      const at = document.activeElement;
      if (at === goal) return goal === node ? 'there' : 'open';
      const before = at && at !== document.body && at.compareDocumentPosition(goal) & Node.DOCUMENT_POSITION_PRECEDING;
      return before ? 'back' : 'on';
    });
    if (way === 'there') return;
    await page.keyboard.press({ open: 'Enter', back: 'Shift+Tab', on: 'Tab' }[way]);
  }
  assert.fail(`not reached in ${FAR} presses: ${target}`);
}

async function type(page, values) {
  for (const [key, text] of Object.entries(values)) {
    await go(page, page.locator(field(key)));
    await page.keyboard.press('Control+A');
    await page.keyboard.type(text);
  }
}

// Enter, on a link or in a field, and the page that it leads to.
async function enter(page, target) {
  if (target) await go(page, target);
  await Promise.all([page.waitForEvent('load'), page.keyboard.press('Enter')]);
}

const link = (page, name, at = 'body') => page.locator(at).getByRole('link', { name, exact: true }).first();

for (const [[javaScriptEnabled, how], width] of withAndWithout.map((one, at) => [one, [1280, 390][at]]))
    test(`the job by keyboard alone, ${how}, ${width} px`, async () => {
      let address;
      await visit({ javaScriptEnabled, viewport: { width, height: 844 } }, async (page) => {
        await open(page, '/');
        await enter(page, page.getByRole('navigation').getByRole('link', { name: 'New design' }));
        await type(page, ferry);
        for (const part of begun) {
          await go(page, page.locator('.ticks li').filter({ hasText: part }).getByRole('checkbox'));
          await page.keyboard.press('Space');
        }
        let loads = 0;
        page.on('load', () => (loads += 1));
        await enter(page, page.getByRole('button', { name: 'Start the design' }));
        assert.equal(await page.locator('.plist th[scope="row"]').count(), begun.length);

        // Everything of a page is typed first, then sent: by Enter, or with script by going on.
        const done = async (whole) => {
          if (!javaScriptEnabled) await enter(page);
          await enter(page, whole);
        };
        const whole = () => page.locator('.way').getByRole('link', { name: 'The whole design' });
        await enter(page, link(page, 'Pre-charge: Link capacitance', '#requirements'));
        await type(page, {
          'precharge.1.capacitance_farad': '1m',
          'precharge.1.resistance_ohm': '47',
          'precharge.1.load.resistance_ohm': '10k',
        });
        await done(whole());
        await enter(page, link(page, 'Threshold', '.plist'));
        await type(page, {
          'protection.1.hazard_a': '1200',
          'protection.1.noise_a': '1',
          'protection.1.rate_a_per_s': '100',
          'protection.1.threshold_a': '900',
        });
        await done(whole());
        await enter(page, link(page, 'Voltage channel', '.plist'));
        await type(page, { 'voltage.1.upper.count': '3' });
        await done(whole());
        assert.match(await textOf(page, '.since summary'), /^Changed since you began: 8 values$/, 'nothing typed is lost');

        const row = page.locator('#requirements tr', { hasText: 'Element stress: one element short' }).first();
        assert.match(await row.innerText(), /Fails/);
        await enter(page, page.locator('.verdict a[href^="set?"]', { hasText: 'Rated working voltage' }).first());
        // Among many that are not judged yet a row that holds is folded away.
        assert.equal(await row.filter({ hasText: 'Fails' }).count(), 0);
        address = handedOn(page.url());

        await go(page, page.locator('.since summary').first());
        await page.keyboard.press('Enter');
        await enter(page, page.getByRole('link', { name: 'Compare with where you began' }));
        assert.match(await textOf(page, 'table.diff'), /rated working voltage/);
        assert.ok(loads <= LOADS, `${loads} page loads`);
      });
      await visit({ javaScriptEnabled, viewport: { width, height: 844 } }, async (page) => {
        await open(page, address);
        await enter(page, page.getByRole('navigation').getByRole('link', { name: 'Report' }).first());
        assert.match(await textOf(page, 'main'), /Ferry/);
        assert.ok((await page.pdf({ format: 'A4' })).length > 20_000, 'it prints');
      });
    });
