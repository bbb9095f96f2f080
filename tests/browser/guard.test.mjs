// The page of a new design: what is typed there is nowhere else, so that leaving it asks, and no refusal loses it.
import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import { field, fillPack, follow, press, textOf, visitor, withAndWithout } from './design.mjs';
import { launch, open } from './support.mjs';

let browser;
before(async () => (browser = await launch()));
after(() => browser.close());
const visit = visitor(() => browser);

const start = (page) => page.getByRole('button', { name: 'Start the design' });
const tick = (page, name) => page.locator('.ticks li').filter({ hasText: name }).getByRole('checkbox');
const other = (page) => page.getByRole('link', { name: 'Start with: voltages given directly' });

test('leaving a new design asks, by a link and by closing, and the way back leads to what was typed', () =>
  visit({}, async (page) => {
    await open(page, '/worksheet');
    await follow(page, other(page));
    await page.goBack();
    await page.locator(field('pack.cells_in_series')).fill('96');
    await tick(page, 'Pre-charge').check();
    for (const link of [other(page), page.getByRole('navigation', { name: 'Pages' }).getByRole('link').first()]) {
      await link.click();
      assert.match(await textOf(page, '#held'), /^The design is not started. .*leaving loses it/);
      await page.getByRole('button', { name: 'Back to the entry' }).click();
      assert.equal(await page.evaluate(() => document.activeElement.id), 'pack.cells_in_series');
    }
    const asked = page.waitForEvent('dialog');
    page.close({ runBeforeUnload: true });
    const dialog = await asked;
    assert.equal(dialog.type(), 'beforeunload');
    await dialog.dismiss();
    assert.equal(await page.locator(field('pack.cells_in_series')).inputValue(), '96');
    await other(page).click();
    await follow(page, page.getByRole('button', { name: 'Leave without it' }));
    assert.match(page.url(), /source=voltages/);
    // Sent and refused, it is still nowhere else; sent and taken, nothing is asked.
    await page.locator(field('pack.max_v')).fill('8OO');
    assert.equal(await press(page, start(page)), 422);
    await page.getByRole('navigation', { name: 'Pages' }).getByRole('link').first().click();
    assert.match(await textOf(page, '#held'), /leaving loses it/);
  }));

for (const [javaScriptEnabled, how] of withAndWithout)
  test(`a text that is no design leaves what was typed of the pack, ${how}`, () =>
    visit({ javaScriptEnabled }, async (page) => {
      await open(page, '/worksheet');
      await fillPack(page);
      await tick(page, 'Pre-charge').check();
      const box = page.locator('#document');
      for (const [text, said] of [
        ['', /Nothing was pasted/],
        ['{"schema": 2,', /The text is not JSON: it ends too early, at line 1/],
        ['{"schema": 2, "pack": {"cells_in_series": "many"}}', /cells in series/i],
      ]) {
        await box.fill(text);
        assert.equal(await press(page, page.getByRole('button', { name: 'Open', exact: true })), 422);
        assert.match(await textOf(page, '.summary'), said);
        assert.doesNotMatch(await textOf(page, '.summary'), /EOF|body/);
        assert.equal(await page.locator('.summary a').first().getAttribute('href'), '#document');
        assert.equal(await page.locator('.f.bad').count(), 0, 'no value of the pack is blamed');
        assert.equal(await box.inputValue(), text);
        assert.equal(await page.locator(field('pack_v.max_v')).inputValue(), '400');
        assert.ok(await tick(page, 'Pre-charge').isChecked());
      }
      // What stands in the box does not hinder the start.
      assert.equal(await press(page, start(page)), 303);
      assert.equal(await textOf(page, 'h1'), 'Ferry');
    }));
