// What a design asks for: what is needed before the start, the allowances, and of a part only what its chosen kinds use.
import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import { field, fill, fillPack, plain, press, recalculate, textOf, visitor, withAndWithout } from './design.mjs';
import { launch, open } from './support.mjs';

let browser;
before(async () => (browser = await launch()));
after(() => browser.close());
const visit = visitor(() => browser);

const start = (page) => page.getByRole('button', { name: 'Start the design' });
const tick = (page, name) => page.locator('.ticks li').filter({ hasText: name }).getByRole('checkbox');

test('what is needed before the start is said, and the allowances stand open', () =>
  visit({ javaScriptEnabled: false }, async (page) => {
    await open(page, '/worksheet');
    assert.match(await textOf(page, '.title'), /marked to be typed are needed before the start/);
    for (const key of ['current.gain_percent', 'current.offset_a', 'voltage.gain_percent', 'temperature.allowed_k'])
      assert.ok(await page.locator(field(`requirements.${key}`)).isVisible(), key);
    assert.equal(await press(page, start(page)), 422);
    // As many are refused as were marked.
    const refused = await page.locator('.summary li').count();
    assert.equal(await page.locator('.f.open').count(), refused);
  }));

test('on a phone it is said what the voltages of the whole pack stand for', () =>
  visit({ viewport: { width: 390, height: 844 } }, async (page) => {
    await open(page, '/worksheet');
    const hint = page.getByText('Instead of those of a cell');
    assert.ok(await hint.evaluate((node) => node.getBoundingClientRect().width > 100));
  }));

for (const [javaScriptEnabled, how] of withAndWithout)
  test(`only what the chosen kind needs is asked for, ${how}`, () =>
    visit({ javaScriptEnabled }, async (page) => {
      await open(page, '/worksheet');
      await fillPack(page);
      await tick(page, 'Pre-charge').check();
      await tick(page, 'Discharge').check();
      assert.equal(await press(page, start(page)), 303);
      const path = new URL(page.url()).pathname;
      const row = (key) => page.locator(`.f:has(${field(key)})`);
      const asked = async (keys) => {
        for (const [key, wanted] of Object.entries(keys)) {
          await page.waitForFunction(
            ([id, open]) => document.getElementById(id).closest('.f').classList.contains('open') === open,
            [key, wanted],
          );
          assert.equal(/to be typed/.test(plain(await row(key).innerText())), wanted, key);
          assert.ok(await row(key).isVisible());
        }
      };
      const choose = async (key, word) => {
        await fill(page, key, word);
        if (!javaScriptEnabled) assert.equal(await press(page, recalculate(page)), 303);
      };
      await open(page, `${path}precharge.1`);
      await asked({ 'precharge.1.load.resistance_ohm': true, 'precharge.1.load.current_a': false, 'precharge.1.load.power_w': false });
      await choose('precharge.1.load.kind', 'constant-power');
      await asked({ 'precharge.1.load.resistance_ohm': false, 'precharge.1.load.current_a': false, 'precharge.1.load.power_w': true });
      await choose('precharge.1.load.kind', 'none');
      await asked({ 'precharge.1.load.resistance_ohm': false, 'precharge.1.load.current_a': false, 'precharge.1.load.power_w': false });
      await open(page, `${path}discharge.1`);
      await asked({
        'discharge.1.active.resistance_ohm': true,
        'discharge.1.active.current_a': false,
        'discharge.1.active.power_w': false,
        'discharge.1.feed.current_a': false,
        'discharge.1.feed.power_w': false,
      });
    }));
