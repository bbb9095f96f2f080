// A new design from an empty page: the pack, the parts to begin with, what is missing, and the link to hand on.
import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import { begun, change, ferry as pack, field, fill, follow, handedOn, plain, press, recalculate, textOf, visitor, withAndWithout } from './design.mjs';
import { base, launch, open } from './support.mjs';

let browser;
before(async () => (browser = await launch()));
after(() => browser.close());
const visit = visitor(() => browser);

const start = (page) => page.getByRole('button', { name: 'Start the design' });

async function write(page, typed, ticked) {
  for (const [key, text] of Object.entries(typed)) await fill(page, key, text);
  await page.evaluate(() => document.activeElement.blur());
  for (const name of ticked) await tick(page, name).check();
}
// A label has the part's name, and below it what it is about.
const tick = (page, name) => page.locator('.ticks li').filter({ hasText: name }).getByRole('checkbox');

// The rows that name what is missing, as links to where it is typed.
const missing = async (page) => {
  const rows = page.locator('#requirements tr', { hasText: 'Not judged' }).locator('th a');
  return (await rows.allInnerTexts()).map(plain);
};
const leadTo = (page, part) => page.locator('.plist').getByRole('link', { name: part, exact: true });

for (const [javaScriptEnabled, how] of withAndWithout) {
  for (const width of [1280, 390]) {
    test(`from an empty page to a link, ${how}, ${width} px`, async () => {
      let address;
      let shown;
      await visit({ javaScriptEnabled, viewport: { width, height: 844 } }, async (page) => {
        await open(page, '/');
        await follow(page, page.getByRole('navigation').getByRole('link', { name: 'New design' }));
        await write(page, pack, begun);
        assert.equal(await press(page, start(page)), 303);
        assert.match(await textOf(page, 'h1'), /^Ferry$/);
        assert.equal(await page.locator('.plist th[scope="row"]').count(), begun.length);

        // A verdict at once: what holds is counted, what nobody typed is named.
        assert.match(await textOf(page, '.verdict .lead'), /\d+ of \d+ requirements hold/);
        const named = await missing(page);
        for (const row of ['Threshold: Hazard', 'Threshold: Noise of a sample', 'Pre-charge: Link capacitance'])
          assert.ok(named.includes(row), `${row} in ${named}`);

        // A row leads to the page on which it is typed.
        await follow(page, page.locator('#requirements').getByRole('link', { name: 'Pre-charge: Link capacitance' }));
        assert.equal(await textOf(page, 'h1'), 'Pre-charge');
        for (const [key, text] of [
          ['capacitance_farad', '1m'],
          ['resistance_ohm', '47'],
          ['load.resistance_ohm', '10k'],
        ])
          await change(page, `precharge.1.${key}`, text, javaScriptEnabled);
        assert.doesNotMatch(await textOf(page, '#results .lead'), /to be typed/);

        await follow(page, page.getByRole('link', { name: 'The whole design' }));
        await follow(page, leadTo(page, 'Threshold'));
        for (const [key, text] of [
          ['hazard_a', '1200'],
          ['noise_a', '1'],
          ['rate_a_per_s', '100'],
          ['threshold_a', '900'],
        ])
          await change(page, `protection.1.${key}`, text, javaScriptEnabled);
        assert.doesNotMatch(await textOf(page, '#results .lead'), /to be typed/);
        await follow(page, page.getByRole('link', { name: 'The whole design' }));
        await follow(page, leadTo(page, 'Temperature channel'));
        await change(page, 'temperatures.1.beta.curve_k', '0.3', javaScriptEnabled);
        await follow(page, page.getByRole('link', { name: 'The whole design' }));
        await follow(page, leadTo(page, 'Voltage channel'));
        await change(page, 'voltage.1.surface.leakage_ohm', '1T', javaScriptEnabled);
        await follow(page, page.getByRole('link', { name: 'The whole design' }));
        const left = await missing(page);
        assert.deepEqual(
          named.filter((row) => left.includes(row)),
          [],
          'what was typed is no longer missing',
        );
        assert.match(await textOf(page, '.since summary'), /^Changed since you began: 9 values$/);

        // Too few elements fail; a change that the page offers is a link that stays on the page and does what it says.
        await follow(page, leadTo(page, 'Voltage channel'));
        await change(page, 'voltage.1.upper.count', '3', javaScriptEnabled);
        await follow(page, page.getByRole('link', { name: 'The whole design' }));
        const row = page.locator('#requirements tr', { hasText: 'Element stress: one element short' }).first();
        assert.match(await textOf(page, '.verdict .lead'), /element stress: one element short/);
        assert.match(plain(await row.innerText()), /Fails/);
        await follow(page, page.locator('.verdict a[href^="set?"]', { hasText: 'Rated working voltage' }).first());
        assert.match(await textOf(page, '.since summary'), /^Changed since you began: 11 values$/);
        assert.doesNotMatch(plain(await row.innerText()), /Fails/);
        address = handedOn(page.url());
        shown = await textOf(page, '#requirements');

        await page.locator('.since summary').click();
        await follow(page, page.getByRole('link', { name: 'Compare with where you began' }));
        const differ = page.locator('table.diff', { hasText: 'Values that differ' }).locator('tbody tr');
        // Eleven were typed, and the lower element follows the number of upper ones.
        assert.equal(await differ.count(), 12);
      });
      await visit({ viewport: { width, height: 844 } }, async (page) => {
        await open(page, address);
        assert.equal(await page.locator('.since').count(), 0, 'where somebody else began is not handed on');
        assert.equal(await textOf(page, '#requirements'), shown);
        await follow(page, leadTo(page, 'Threshold'));
        assert.equal(await page.locator(field('protection.1.threshold_a')).inputValue(), '900');
      });
    });
  }
}

const source = {
  title: 'Crane drive',
  'pack.max_v': '850',
  'pack.nominal_v': '750',
  'pack.min_v': '550',
  ...Object.fromEntries(
    Object.entries(pack).filter(([key]) => !/^title$|^pack_v|cell|busbars/.test(key)),
  ),
};
const parts = ['Current channel', 'Voltage channel', 'Voltage threshold', 'Reaction race', 'Pre-charge'];

for (const [javaScriptEnabled, how] of withAndWithout) {
  test(`a source without cells, from its voltages to a verdict, ${how}`, () =>
    visit({ javaScriptEnabled }, async (page) => {
      await open(page, '/worksheet');
      await follow(page, page.getByRole('link', { name: 'Start with: voltages given directly' }));
      assert.equal(await page.locator('[id^="pack.cell"], [id^="pack_v"], [id="pack.busbars_ohm"]').count(), 0);
      assert.equal(await page.locator('.ticks').getByText('balancing').count(), 0, 'there is nothing to balance');
      assert.match(await textOf(page, '.begin legend'), /Cell balancing needs cells, and this design has none/);

      // What is missing is named on the same page, with what was typed.
      const { 'pack.max_v': highest, ...some } = source;
      await write(page, some, parts);
      assert.equal(await press(page, start(page)), 422);
      assert.match(await textOf(page, 'div.summary'), /Highest voltage is not given/);
      assert.equal(await page.locator(field('pack.min_v')).inputValue(), '550');
      await page.locator(field('pack.max_v')).fill('500');
      assert.equal(await press(page, start(page)), 303);
      // Together they contradict each other: the design says so, and its page of the source mends it.
      assert.match(await textOf(page, 'div.summary'), /The highest voltage lies below the nominal voltage/);
      await follow(page, page.locator('div.summary').getByRole('link').first());
      await fill(page, 'pack.max_v', highest);
      assert.equal(await press(page, recalculate(page)), 303);
      assert.equal(await textOf(page, 'h1'), 'Source and requirements');
      await follow(page, page.getByRole('link', { name: 'The whole design' }));

      // A resistance that nobody gave is not made up: what needs it is not judged, and its row leads to where it is typed.
      const named = await missing(page);
      for (const row of ['Reaction race: Source resistance (Fault loop)', 'Threshold: Hazard'])
        assert.ok(named.includes(row), `${row} in ${named}`);
      assert.ok(named.some((row) => row.startsWith('Pre-charge: Resistance of the path')), `${named}`);
      assert.doesNotMatch(await textOf(page, '#chain .kf'), /Prospective current|Capacity/);
      await follow(page, page.locator('#requirements').getByRole('link', { name: 'Reaction race: Source resistance' }));
      await change(page, 'pack.resistance_ohm', '85m', javaScriptEnabled);
      await follow(page, page.getByRole('link', { name: 'The whole design' }));
      assert.match(await textOf(page, '#chain .kf'), /Prospective current 10.00 ?kA/);
      const left = await missing(page);
      assert.deepEqual(left.filter((row) => /Source resistance|Resistance of the path/.test(row)), []);

      // Nothing of cells can be added; a threshold is one of the source.
      assert.equal(await page.locator('.padd input[value="balancing:"]').count(), 0);
      await follow(page, leadTo(page, 'Threshold'));
      const options = await page.locator(`${field('protection.1.kind')} option`).allTextContents();
      assert.ok(options.some((label) => /Source over-voltage/.test(label)) && !options.some((label) => /Cell/.test(label)));
    }));
}

for (const [javaScriptEnabled, how] of withAndWithout) {
  test(`a pack becomes a source by a link, and back again, ${how}`, () =>
    visit({ javaScriptEnabled }, async (page) => {
      const body = new URLSearchParams({ ...pack, add: 'voltage:' });
      const begun = await fetch(`${base}/worksheet`, { method: 'POST', body, redirect: 'manual' });
      await open(page, `${begun.headers.get('location')}pack`);
      const shown = await page.locator(field('pack.cell_max_v')).inputValue();
      await follow(page, page.getByRole('link', { name: 'Change to: voltages given directly' }));
      assert.equal(await page.locator(field('pack.cell_max_v')).count(), 0);
      for (const key of ['pack.max_v', 'pack.nominal_v', 'pack.min_v']) {
        assert.equal(await page.locator(field(key)).getAttribute('aria-invalid'), 'true', key);
        await fill(page, key, source[key]);
      }
      assert.equal(await press(page, recalculate(page)), 303);
      assert.match(await textOf(page, '#results .kf'), /Highest voltage 850.0 ?V as given/);
      await follow(page, page.getByRole('link', { name: 'Change to: pack of cells' }));
      assert.equal(await page.locator(field('pack.cell_max_v')).inputValue(), shown, 'what was typed is kept');
      assert.equal(await page.locator(field('pack.max_v')).count(), 0);
    }));
}

for (const [javaScriptEnabled, how] of withAndWithout) {
  test(`what is missing for a new design is named, and nothing typed is lost, ${how}`, () =>
    visit({ javaScriptEnabled }, async (page) => {
      await open(page, '/worksheet');
      const { 'pack.cell_capacity_ah': _, ...some } = pack;
      const typed = { ...some, 'pack.life_years': '1O' };
      await write(page, typed, begun);
      assert.equal(await press(page, start(page)), 422);
      const summary = page.locator('div.summary[data-focus]');
      if (javaScriptEnabled) {
        assert.ok(await summary.evaluate((node) => node === document.activeElement), 'the summary has the focus');
      }
      for (const [key, text] of Object.entries(typed))
        assert.equal(await page.locator(field(key)).inputValue(), text, key);
      for (const name of begun) assert.ok(await tick(page, name).isChecked(), name);
      const life = field('pack.life_years');
      assert.ok(await page.locator(life).isVisible(), 'a field at fault is never folded away');
      await summary.getByRole('link').first().click();
      assert.equal(await page.evaluate(() => document.activeElement.id), 'pack.life_years');

      await page.locator(life).fill('10');
      assert.equal(await press(page, start(page)), 422);
      await page
        .locator('div.summary')
        .getByRole('link', { name: /^Cell capacity is not given/ })
        .click();
      assert.equal(await page.evaluate(() => document.activeElement.id), 'pack.cell_capacity_ah');
      await page.locator(field('pack.cell_capacity_ah')).fill('50');
      assert.equal(await press(page, start(page)), 303);
    }));
}

test('strip, overview and its lists count the same, also where no limit is set', () =>
  visit({ javaScriptEnabled: false }, async (page) => {
    const body = new URLSearchParams({ ...pack, add: 'temperatures:' });
    const begun = await fetch(`${base}/worksheet`, { method: 'POST', body, redirect: 'manual' });
    await open(page, begun.headers.get('location'));
    const [, hold, of] = (await textOf(page, '.verdict .lead')).match(/(?:(\d+) of |All )(\d+) requirements hold/);
    // What holds is listed as often as it is counted, shown or folded; what has no limit is not among it.
    const badges = await page.locator('#requirements .one tr:not(.why) td:last-child').allTextContents();
    assert.equal(badges.filter((badge) => /Holds|Thin/.test(badge)).length, Number(hold ?? of));
    await open(page, new URL('temperatures.1', page.url()).pathname);
    assert.match(await textOf(page, '.strip .cnt'), new RegExp(`(of|all) ${of}\\b`));
  }));

test('voltages of the pack that contradict those of the cell are marked at both', () =>
  visit({ javaScriptEnabled: false }, async (page) => {
    await open(page, '/worksheet');
    await write(page, { ...pack, 'pack.cell_max_v': '4.5' }, []);
    assert.equal(await press(page, start(page)), 422);
    for (const key of ['pack_v.max_v', 'pack.cell_max_v'])
      assert.equal(await page.locator(field(key)).getAttribute('aria-invalid'), 'true', key);
  }));

test('a tick is set by the press that leaves a field', () =>
  visit({}, async (page) => {
    await open(page, '/worksheet');
    for (const key of ['pack.peak_duration_s', 'pack_v.min_v']) {
      await page.locator(field(key)).fill('10');
      const box = tick(page, 'Current channel');
      await box.scrollIntoViewIfNeeded();
      const { x, y } = await box.boundingBox();
      await page.mouse.click(x + 8, y + 8);
      assert.ok(await box.isChecked(), `after ${key}`);
      await box.uncheck();
    }
  }));

test('a text that is no design stays in its box', () =>
  visit({ javaScriptEnabled: false }, async (page) => {
    await open(page, '/worksheet');
    await page.locator('#document').fill('{"schema": 2,');
    assert.equal(await press(page, page.getByRole('button', { name: 'Open', exact: true })), 422);
    assert.match(await textOf(page, '.summary'), /correction/);
    assert.equal(await page.locator('#document').inputValue(), '{"schema": 2,');
  }));

test('voltages typed of the pack are shown as typed, and those of the cell are no longer asked for', () =>
  visit({}, async (page) => {
    await open(page, '/worksheet');
    const cell = page.locator(`.f:has(${field('pack.cell_max_v')})`);
    const colour = () => cell.locator('.box').evaluate((node) => getComputedStyle(node).borderTopColor);
    const asked = await colour();
    await page.locator(field('pack_v.max_v')).fill('400');
    assert.notEqual(await colour(), asked, 'no longer marked');
    assert.ok(!(await cell.locator('.lean-from').isVisible()));
    // Sent and refused for another reason: the same.
    await write(page, { ...pack, 'pack.life_years': '1O' }, begun);
    assert.equal(await press(page, start(page)), 422);
    assert.doesNotMatch(await cell.getAttribute('class'), / open\b/);
    assert.match(plain(await cell.innerText()), /from that of the pack/);
    await fill(page, 'pack.life_years', '10');
    assert.equal(await press(page, start(page)), 303);
    const path = new URL(page.url()).pathname;
    await open(page, `${path}pack`);
    for (const [which, volts] of [['max', 400], ['nominal', 350], ['min', 250]])
      assert.match(plain(await page.locator(`.f:has(${field(`pack.cell_${which}_v`)})`).innerText()), new RegExp(`\\b${volts}\\.?0* ?V for the whole pack`));
    await open(page, `${path}report`);
    const said = await textOf(page, '.report');
    for (const volts of [400, 350, 250]) assert.match(said, new RegExp(`V, ${volts}\\.?0* ?V for the pack`));
  }));

test('a refusal says what was given and what is accepted, of one value and of two', () =>
  visit({ javaScriptEnabled: false }, async (page) => {
    await open(page, '/worksheet');
    await write(page, { ...pack, 'pack.cells_in_series': '96.5' }, []);
    assert.equal(await press(page, start(page)), 422);
    assert.match(await textOf(page, 'div.summary'), /must be a whole number between 1 and \d+; 96.5 was given/);
    await fill(page, 'pack.cells_in_series', '96');
    await fill(page, 'pack.ambient_max_degc', '-40');
    await tick(page, 'Current channel').check();
    assert.equal(await press(page, start(page)), 303);
    assert.match(await textOf(page, 'div.summary'), /−40 ?°C was given; accepted is a value at or above −20 ?°C/);
  }));
