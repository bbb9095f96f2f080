// What is missing is named at once: all that a part, or a row of it, needs and nobody gave.
import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import { change, ferry, follow, packs, plain, textOf, visitor } from './design.mjs';
import { base, launch, open } from './support.mjs';

let browser;
before(async () => (browser = await launch()));
after(() => browser.close());
const visit = visitor(() => browser);

// Begins a design of the ferry's pack with some parts; its path.
async function begun(...parts) {
  const body = new URLSearchParams(ferry);
  for (const part of parts) body.append('add', part);
  const answer = await fetch(`${base}/worksheet`, { method: 'POST', body, redirect: 'manual' });
  return answer.headers.get('location');
}
const typed = async (page, path, part, values) => {
  const pairs = Object.entries(values).map(([key, text]) => `&${key}=${encodeURIComponent(text)}`);
  await open(page, `${path}set?at=${part}${pairs.join('')}`);
};

test('a part that waits names what its single rows will wait for, too', () =>
  visit({}, async (page) => {
    await open(page, `${await begun('voltage:', 'precharge:')}precharge.1`);
    const said = await textOf(page, '#results .verdict');
    for (const what of ['Pre-charge resistor', 'Link capacitance', 'Rated pulse energy (Resistor)', 'Rated power (Resistor)', 'Contactor making current (Path of the main contactor)'])
      assert.ok(said.includes(what), `${what} in ${said}`);
    // And what the error that it rests on leaves out.
    for (const what of ['Integral non-linearity (Converter and reference)', 'Surface leakage (Surface)'])
      assert.ok(said.includes(what), `${what} in ${said}`);
    const before = new Set([...said.matchAll(/[A-Z][^,.:;]+ \([^)]+\)/g)].map(([name]) => plain(name)));
    // Once it is judged, no row names anything that was not said before.
    for (const [key, text] of [['capacitance_farad', '1m'], ['resistance_ohm', '47'], ['load.resistance_ohm', '10k']])
      await change(page, `precharge.1.${key}`, text, true);
    const rows = await textOf(page, '#results .own');
    const named = [...rows.matchAll(/Not judged: ([^.]+?\)) is not given/g)].map(([, name]) => plain(name));
    assert.ok(named.length >= 3, rows);
    for (const name of named) assert.ok(before.has(name), `${name} in ${[...before].join('; ')}`);
  }));

test('a reading error names all that it needs, on its page and on the overview', () =>
  visit({}, async (page) => {
    const path = await begun('voltage:');
    await typed(page, path, 'voltage.1', { 'requirements.voltage.gain_percent': '5', 'voltage.1.calibration.kind': 'two-point' });
    const all = ['Integral non-linearity (Converter and reference)', 'Surface leakage (Surface)'];
    const row = page.locator('#results .own tbody', { hasText: 'Reading error' });
    const said = plain(await row.first().innerText());
    for (const what of [...all, 'Noise'])
      assert.ok(said.includes(what), `${what} in ${said}`);
    assert.match(said, / are not given/);
    await open(page, new URL('./', page.url()).pathname);
    const next = await textOf(page, '.next');
    for (const what of ['Integral non-linearity', 'Surface leakage', 'Noise']) assert.ok(next.includes(what), `${what} in ${next}`);
  }));

test('a field that asked for its value no longer does once it is typed', () =>
  visit({}, async (page) => {
    await open(page, `${await begun('current:', 'protection:current')}protection.1`);
    const row = page.locator('.f:has([id="protection.1.hazard_a"])');
    assert.match(await row.getAttribute('class'), / open\b/);
    await change(page, 'protection.1.hazard_a', '1200', true);
    await page.waitForFunction(() => /has no start/.test(document.querySelector('.f:has([id="protection.1.hazard_a"])').textContent));
    assert.doesNotMatch(await row.getAttribute('class'), / open\b/);
    await change(page, 'protection.1.hazard_a', '', true);
    await page.waitForFunction(() => document.querySelector('.f:has([id="protection.1.hazard_a"])').classList.contains('open'));
  }));

test('what changed is told with its unit, and a choice by its label', () =>
  visit({}, async (page) => {
    const path = await begun('current:', 'protection:current');
    await typed(page, path, 'protection.1', { 'protection.1.hazard_a': '1200', 'current.1.shunt.resistance_ohm': '36u', 'current.1.calibration.kind': 'two-point' });
    await page.locator('.since summary').click();
    const said = await textOf(page, '.since');
    for (const one of [/Hazard: not typed → 1.2 ?kA\b/, /Resistance \(Shunt\): not typed → 36 ?µΩ/, /not typed → Two-point\b/]) assert.match(said, one);
  }));

test('what does not hold and is not listed at once is counted by its words and opened by a link', () =>
  visit({}, async (page) => {
    const badges = async () => (await page.locator('#requirements > .one tr:not(.why) td:last-child').allInnerTexts()).map(plain);
    const sum = (words) => [...words.matchAll(/(\d+) (?:fails?|not judged|not resolved|thin)/g)].reduce((all, [, count]) => all + Number(count), 0);
    let opened = 0;
    for (const path of await packs()) {
      await open(page, path);
      const more = page.locator('#requirements').getByRole('link', { name: /^Show \d+ more of them/ });
      if (!(await more.count())) continue;
      const [, count, words] = plain(await more.innerText()).match(/^Show (\d+) more of them: (.*)$/);
      assert.equal(sum(words), Number(count), words);
      const before = (await badges()).length;
      await follow(page, more);
      const shown = await badges();
      assert.equal(shown.length, before + Number(count));
      assert.ok(shown.every((badge) => /Fails|Not judged|Not resolved|Thin/.test(badge)), shown.join());
      opened += 1;
    }
    assert.ok(opened > 0, 'a pack has more than are listed');
  }));

test('side by side, a row that is new says so and how it stands, and no column is cut on a phone', () =>
  visit({ viewport: { width: 390, height: 844 } }, async (page) => {
    const first = await begun('voltage:');
    await open(page, `${first}compare?with=${first.split('/')[2]}`);
    await typed(page, first, '', { 'requirements.voltage.gain_percent': '0.001', 'voltage.1.surface.leakage_ohm': '1T' });
    await page.locator('.since summary').click();
    await follow(page, page.getByRole('link', { name: 'Compare with where you began' }));
    const row = page.locator('table.diff tbody tr', { hasText: 'Reading error' }).first();
    const said = plain(await row.innerText());
    assert.match(said, /not there.*new, fails/);
    assert.doesNotMatch(said, /worse/);
    for (const table of await page.locator('.scroll:has(table.diff)').all())
      assert.ok(await table.evaluate((node) => node.scrollWidth <= node.clientWidth + 1), 'nothing to scroll for');
  }));

test('a start value is moved to twice or half of it, also where it is negative', () =>
  visit({}, async (page) => {
    await open(page, await begun('voltage:', 'current:', 'protection:current', 'precharge:'));
    const said = await textOf(page, '.next');
    for (const [, now, then] of said.matchAll(/: (−[\d.]+) ?V; with (−?[\d.]+) ?V/g)) {
      const ratio = Number(then.replace('−', '-')) / Number(now.replace('−', '-'));
      assert.ok([2, 0.5, Math.SQRT2, Math.SQRT1_2].some((one) => Math.abs(ratio / one - 1) < 0.01), `${now} to ${then}`);
    }
  }));
