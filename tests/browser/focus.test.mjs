// A part in focus: a value is typed, its consequences are seen, a slip is named and nothing is lost.
import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import {
  change,
  enter,
  field,
  fill,
  follow,
  handedOn,
  packs,
  plain,
  press,
  recalculate,
  textOf,
  type,
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

const part = () => `${pack}current.1`;
const key = 'current.1.shunt.resistance_ohm';
const resistance = field(key);
const results = '#results';

// The figures by name, with the former value that stands at each.
const figures = (page) =>
  page.locator('#results .kf > div').evaluateAll((rows) =>
    rows.map((row) => {
      const value = row.querySelector('dd').cloneNode(true);
      const notes = [...value.querySelectorAll('small')];
      const was = notes.filter((note) => note.matches('.was')).map((note) => note.dataset.was.replace(/\s+/g, ' '));
      notes.forEach((note) => note.remove());
      value.querySelectorAll('.u').forEach((unit) => unit.prepend(' '));
      return [row.querySelector('dt').textContent, value.textContent.replace(/\s+/g, ' ').trim(), was];
    }),
  );

test('a typed value changes results and address, and the link shows the same to someone else', async () => {
  let address;
  let shown;
  await visit({}, async (page) => {
    await open(page, '/');
    await follow(page, page.locator('main a[href^="/worksheet/"]').first());
    await follow(page, page.locator('.plist a[href="current.1"]'));
    await page.evaluate(() => (window.sameLoad = true));
    const before = await figures(page);

    await type(page, key, '36u');
    assert.ok(await page.evaluate(() => window.sameLoad), 'no reload');
    await page.waitForFunction(() => /^Recalculated\. ./.test(document.querySelector('#live-status').textContent));
    assert.equal(handedOn(await page.locator('#addr').inputValue()), handedOn(page.url()));
    assert.equal(await page.locator(resistance).inputValue(), '36u', 'the typed text stays under the cursor');
    assert.match(await textOf(page, '.since summary'), /^Changed since you began: 1 value$/);

    // Every figure that moved shows what it was, once; no other does.
    const now = await figures(page);
    assert.equal(now.length, before.length);
    now.forEach(([name, value, was], index) => {
      const [, old] = before[index];
      assert.deepEqual(was, value === old ? [] : [`was ${old}`], name);
    });
    assert.ok(now.some(([, , was]) => was.length));

    // What was typed is a field of its own kind, on the overview and after another load.
    address = handedOn(page.url());
    await page.reload();
    shown = await textOf(page, results);
    assert.match(await textOf(page, `.f.chg:has(${resistance})`), /was 35 µ/);
    await follow(page, page.getByRole('link', { name: 'The whole design' }));
    assert.match(await textOf(page, '.since summary'), /1 value$/);
    assert.ok((await page.locator('#requirements .was').count()) > 0, 'the former values');
  });

  // Without script the button does the same, down to the link.
  await visit({ javaScriptEnabled: false }, async (page) => {
    await open(page, part());
    await fill(page, key, '36u');
    assert.equal(await press(page, recalculate(page)), 303);
    assert.equal(handedOn(page.url()), address);
    assert.equal(await textOf(page, results), shown);
  });
  await visit({}, async (page) => {
    await open(page, address);
    assert.equal(await page.locator(resistance).inputValue(), '36 µ');
    assert.equal(await page.locator('.was, .now-was, .since').count(), 0);
  });
});

test('the live results are those of a fresh page', () =>
  visit({}, async (page) => {
    await open(page, part());
    await type(page, key, '36u');
    const live = await textOf(page, results);
    await page.reload();
    assert.equal(live, await textOf(page, results));
  }));

test('a field that is emptied goes back to where its value came from', () =>
  visit({}, async (page) => {
    await open(page, part());
    await type(page, 'current.1.shunt.tolerance_percent', '');
    assert.match(await textOf(page, '.f:has([id="current.1.shunt.tolerance_percent"]) .lean-from'), /starts at 1 %/);
    assert.notEqual(handedOn(page.url()), handedOn(part()));
  }));

for (const [javaScriptEnabled, how] of withAndWithout) {
  test(`a slip is named, reachable and kept with all that was typed, ${how}`, () =>
    visit({ javaScriptEnabled }, async (page) => {
      await open(page, part());
      const before = await textOf(page, '#results .req');
      const typed = { [key]: '36O', 'current.1.shunt.rated_power_w': '40', 'current.1.name': 'Main shunt' };
      typed['current.1.shunt.sense_position_error_ohm'] = '1 furlong';
      for (const [name, text] of Object.entries(typed)) await fill(page, name, text);
      assert.equal(await press(page, page.locator(resistance), enter), 422);

      assert.match(await page.title(), /^Error: /);
      const summary = page.locator('div.summary[data-focus]');
      assert.match(await summary.innerText(), /2 values need a correction/);
      if (javaScriptEnabled) {
        assert.ok(await summary.evaluate((node) => node === document.activeElement), 'the summary has the focus');
      }
      for (const [name, text] of Object.entries(typed))
        assert.equal(await page.locator(field(name)).inputValue(), text, name);
      assert.equal(await textOf(page, '#results .req'), before, 'the results of the last set stand');

      // Each leads to its field, whose words say the same, wherever the form would fold it away.
      for (const bad of [key, 'current.1.shunt.sense_position_error_ohm']) {
        assert.equal(await page.locator(field(bad)).getAttribute('aria-invalid'), 'true');
        assert.ok(await page.locator(field(bad)).isVisible(), bad);
        const words = await page.locator(`.f.bad:has(${field(bad)}) .err`).innerText();
        const link = summary.locator(`a[href="#${bad}"]`);
        assert.ok(words.includes(await link.innerText()), words);
        await link.click();
        assert.equal(await page.evaluate(() => document.activeElement.id), bad);
      }

      // Mended, it goes on from there.
      await fill(page, 'current.1.shunt.sense_position_error_ohm', '0');
      await fill(page, key, '36u');
      assert.equal(await press(page, page.locator(resistance), enter), 303);
      assert.equal(await page.locator('.summary').count(), 0);
      assert.equal(await textOf(page, 'h1'), 'Main shunt');
      assert.notEqual(await textOf(page, '#results .req'), before);
    }));
}

test('nothing typed is no change', () =>
  visit({ javaScriptEnabled: false }, async (page) => {
    for (const at of ['pack', 'current.1', 'voltage.1', 'temperatures.1', 'protection.1']) {
      await open(page, pack + at);
      assert.equal(await press(page, recalculate(page)), 303);
      assert.equal(page.url(), new URL(pack + at, base).href);
    }
  }));

test('a slip while typing empties no results and leaves the address', () =>
  visit({}, async (page) => {
    await open(page, part());
    const before = await textOf(page, results);
    const from = page.url();
    await fill(page, key, '36O');
    await page.waitForFunction(() => /correction/.test(document.querySelector('#live-status').textContent));
    assert.equal(await textOf(page, results), before);
    assert.equal(page.url(), from);
    await type(page, key, '36u');
    assert.notEqual(await textOf(page, results), before);
    assert.equal(await page.locator('.f.bad').count(), 0);
  }));

for (const [javaScriptEnabled, how] of withAndWithout) {
  test(`a press right after typing is not lost, ${how}`, async () => {
    for (const [at, last] of [
      ['pack', 'requirements.test_uncertainty_percent'],
      ['current.1', 'current.1.currents_a'],
      ['precharge.1', 'precharge.1.resistor.ambient_degc'],
    ])
      await visit({ javaScriptEnabled }, async (page) => {
        await open(page, pack + at);
        await fill(page, last, '55');
        const button = recalculate(page);
        await button.scrollIntoViewIfNeeded();
        const { x, y, width, height } = await button.boundingBox();
        const loaded = page.waitForEvent('load', { timeout: 5000 });
        await page.mouse.click(x + width / 2, y + height / 2);
        await loaded.catch(() => assert.fail(`lost after ${last}`));
      });
  });
}

test('what is handed down is a figure with its source, not a field', () =>
  visit({ javaScriptEnabled: false }, async (page) => {
    await open(page, `${pack}protection.2`);
    const rows = page.locator('.given dl > div');
    assert.ok((await rows.count()) > 0);
    assert.equal(await rows.locator('input, select').count(), 0);
    const from = page.locator('.given h3').filter({ hasNotText: /Pack$/ }).first();
    const name = plain(await from.innerText()).replace(/^from /, '');
    await follow(page, from.locator('xpath=following-sibling::dl[1]').getByRole('link').first());
    assert.equal(await textOf(page, 'h1'), name);
  }));

for (const [javaScriptEnabled, how] of withAndWithout) {
  test(`a tie takes what it hands down out of the form, ${how}`, () =>
    visit({ javaScriptEnabled }, async (page) => {
      const own = 'protection.2.error_normal_a';
      await open(page, `${pack}protection.2`);
      await change(page, 'protection.2.rests_on', '', javaScriptEnabled);
      // What is typed now is drawn: the script asks for the page again.
      await page.waitForSelector(field(own), { timeout: 10000 });
      await page.waitForLoadState('load');
      await change(page, 'protection.2.rests_on', '1', javaScriptEnabled);
      await page.waitForFunction((id) => !document.getElementById(id)?.getClientRects().length, own, { timeout: 5000 });
      assert.match(await textOf(page, '.given'), /Shunt A/);
    }));
}

test('a value that is marked as assumed is listed with where it comes from', () =>
  visit({ javaScriptEnabled: false }, async (page) => {
    await open(page, part());
    await fill(page, key, '36u');
    await page.locator(resistance).focus();
    await page.locator(`.f:has(${resistance}) .tick input[type="checkbox"]`).check();
    assert.equal(await press(page, recalculate(page)), 303);
    await page
      .getByLabel(/^Where .* comes from$/)
      .first()
      .fill('a hunch');
    assert.equal(await press(page, recalculate(page)), 303);
    await follow(page, page.getByRole('link', { name: 'The whole design' }));
    assert.match(await textOf(page, '#rests'), /Resistance.*: a hunch/);
  }));

test('the strip says how whole and part stand, and how they stood', () =>
  visit({}, async (page) => {
    await open(page, part());
    const whole = await textOf(page, '.strip .cnt');
    await type(page, 'current.1.shunt.rated_power_w', '1m');
    assert.equal(await textOf(page, '.strip .cnt .now-was'), `was ${whole}`);
    assert.notEqual(await textOf(page, '.strip .cnt'), whole);
    assert.match(await textOf(page, '.strip .mine'), /^Shunt A Fails /);
  }));

test('the strip and the overview count the same requirements', () =>
  visit({ javaScriptEnabled: false }, async (page) => {
    await open(page, pack);
    const [, of] = (await textOf(page, '.verdict .lead')).match(/of (\d+) requirements/);
    await open(page, part());
    assert.match(await textOf(page, '.strip .cnt'), new RegExp(`(of|all) ${of}\\b`));
  }));

test('the strip stays in sight, and the field that a link leads to is below it', async () => {
  const far = 'current.1.conditions.shunt_extra_k';
  for (const [width, most] of [
    [1280, 72],
    [390, 96],
  ])
    await visit({ viewport: { width, height: 844 } }, async (page) => {
      await open(page, part());
      await page.locator(field(far)).evaluate((node) => {
        for (let fold = node.closest('details'); fold; fold = fold.parentElement.closest('details')) fold.open = true;
        location.hash = node.id;
      });
      await page.waitForFunction((id) => document.getElementById(id).getBoundingClientRect().top < innerHeight, far);
      const { top, bottom } = await page.locator('.strip').evaluate((node) => node.getBoundingClientRect().toJSON());
      assert.equal(Math.round(top), 0, `${width} px`);
      assert.ok(bottom <= most, `${bottom} px high at ${width} px`);
      const at = await page.locator(field(far)).evaluate((node) => node.getBoundingClientRect().top);
      assert.ok(at >= bottom, `the field is at ${at}, the strip ends at ${bottom}, at ${width} px`);
    });
});

for (const [javaScriptEnabled, how] of withAndWithout)
  test(`what a long part leaves to a second look is a press away, with what was typed, ${how}`, async () => {
    await visit({ javaScriptEnabled }, async (page) => {
      await open(page, `${pack}isolation.1`);
      const left = page.getByRole('button', { name: /^\d+ more tables and charts, and how it is worked out in \d+ steps$/ });
      const [tables] = (await left.innerText()).match(/\d+/);
      const typed = 'isolation.1.barrier.recurring_peak_v';
      const kept = async (value) => {
        assert.match(page.url(), /\?all=yes/);
        assert.equal(await page.inputValue(field(typed)), value);
        assert.ok((await page.locator('#further .block, #further figure').count()) >= Number(tables) - 1);
        assert.ok((await page.locator('.work tbody tr').count()) > 0);
        assert.equal(await left.count(), 0);
      };
      await fill(page, typed, '861');
      assert.equal(await press(page, left), 303);
      await kept('861');
      await change(page, typed, '862', javaScriptEnabled);
      await kept('862');
    });
  });
