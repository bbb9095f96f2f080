// A design beside where it began: what turned comes first, what reads the same is folded, what was not given is given.
import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import { change, fillPack, follow, packs, press, textOf, visitor } from './design.mjs';
import { launch, open } from './support.mjs';

let browser;
let pack;
before(async () => {
  browser = await launch();
  [pack] = await packs();
});
after(() => browser.close());
const visit = visitor(() => browser);

const compare = (page) => open(page, `${new URL(page.url()).pathname.replace(/[^/]*$/, '')}compare`);
// Of every list its rows: label, cells, how it moves.
const lists = (page) =>
  page.evaluate(() =>
    [...document.querySelectorAll('table.diff.stack')].map((table) => ({
      title: table.caption.textContent,
      folded: Boolean(table.closest('details')),
      rows: [...table.tBodies[0].rows].map((row) => [...row.cells].map((cell) => cell.textContent.replace(/\s+/g, ' ').trim())),
    })),
  );

test('a verdict that turns comes first; what reads the same is folded; digits tell old from new', () =>
  visit({ javaScriptEnabled: false }, async (page) => {
    await open(page, `${pack}current.1`);
    await change(page, 'current.1.shunt.resistance_ohm', '34.979u', false);
    await compare(page);
    const all = (await lists(page)).filter(({ title }) => title !== 'Values that differ');
    const word = (cell) => cell.match(/(Holds|Thin|Fails|Not judged|Not resolved|No limit set)( on start values)?$/)?.[1];
    let moving = 0;
    for (const { title, folded, rows } of all) {
      const turns = rows.map(([, a, b]) => word(a) !== word(b));
      if (!folded) assert.deepEqual(turns, [...turns].sort((a, b) => b - a), `${title}: turning rows first`);
      for (const [label, a, b, how] of rows) {
        if (how === 'same') continue;
        moving += 1;
        if (folded) assert.equal(a, b, `${label} moves by less than is shown`);
        else assert.notEqual(a, b, `${label} is shown to move`);
        const digits = (cell) => cell.match(/^−?([\d.]+)/)?.[1].replace(/^0\.0*|\./g, '').length;
        if (!folded && /^[\d−]/.test(a) && /^[\d−]/.test(b) && !/^0 /.test(a) && !/^0 /.test(b))
          assert.equal(digits(a), digits(b), `${label}: ${a} ${b}`);
      }
    }
    assert.ok(all.some(({ title, rows }) => /less than is shown/.test(title) && rows.length > 0));
    const said = await textOf(page, 'figure.chart figcaption b');
    assert.equal(Number(said.match(/(\d+) (outcomes move$|outcomes that move)/)[1]), moving, said);
    assert.doesNotMatch(await textOf(page, 'main'), /[+−]0(\.0)? ?%/);
    // The picture has no number where the lists have none.
    const drawn = await page.locator('figure.chart svg').first().locator('desc').textContent();
    for (const { rows } of all)
      for (const [label, a, b] of rows)
        if (!/%/.test(a + b)) assert.ok(!drawn.includes(`${label}: A`), label);
  }));

test('what was not given and is judged now is given, not lost and not the same', () =>
  visit({ javaScriptEnabled: false }, async (page) => {
    await open(page, '/worksheet');
    await fillPack(page);
    for (const name of ['Pre-charge', 'Discharge'])
      await page.locator('.ticks li').filter({ hasText: name }).getByRole('checkbox').check();
    await press(page, page.getByRole('button', { name: 'Start the design' }));
    await follow(page, page.locator('.plist a[href="precharge.1"]'));
    for (const [key, text] of [
      ['capacitance_farad', '1m'],
      ['resistance_ohm', '47'],
      ['load.resistance_ohm', '10k'],
    ])
      await change(page, `precharge.1.${key}`, text, false);
    await follow(page, page.getByRole('link', { name: 'The whole design' }));
    await follow(page, page.locator('.plist a[href="discharge.1"]'));
    await change(page, 'discharge.1.active.resistance_ohm', '470', false);
    await change(page, 'discharge.1.passive.resistance_ohm', '22k', false);
    await compare(page);
    const all = await lists(page);
    for (const { rows } of all) for (const row of rows) assert.notEqual(row.at(-1), 'no longer assessed', row[0]);
    const given = all.find(({ title }) => /^Not given at first, given now/.test(title));
    assert.ok(given.rows.length >= 4, JSON.stringify(given));
    for (const row of given.rows) assert.equal(row.at(-1), 'given now');
  }));

test('what was, beside what is, has its digits; where both read the same nothing is said', () =>
  visit({ javaScriptEnabled: false }, async (page) => {
    await open(page, `${pack}set?at=&current.1.shunt.resistance_ohm=36u`);
    const rows = await page.locator('#requirements td:has(.was)').evaluateAll((cells) =>
      cells.map((cell) => [cell.firstChild.textContent, cell.querySelector('.was').dataset.was.match(/^was (\S+)/)[1]]),
    );
    assert.ok(rows.length > 0);
    const decimals = (text) => (text.trim().split('.')[1] ?? '').replace(/\D.*/, '').length;
    for (const [is, was] of rows.filter((row) => row.every((text) => /^−?[\d.]+/.test(text)))) {
      assert.notEqual(is.trim(), was);
      assert.equal(decimals(is), decimals(was.match(/^−?[\d.]+/)[0]), `${is} was ${was}`);
    }
  }));
