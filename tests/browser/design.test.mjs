// A design beside others and on paper: compared, opened by an older address, refused, printed.
import assert from 'node:assert/strict';
import { after, before, describe, test } from 'node:test';
import { change, follow, handedOn, packs, plain, textOf, tokenOf, visitor } from './design.mjs';
import { base, launch, open } from './support.mjs';

let browser;
let demos;
before(async () => {
  browser = await launch();
  demos = await packs();
});
after(() => browser.close());
const visit = visitor(() => browser);

const resistance = 'current.1.shunt.resistance_ohm';
const differ = (page) => page.locator('table.diff', { hasText: 'Values that differ' }).locator('tbody tr');

async function oneDiffers(page) {
  assert.equal(await differ(page).count(), 1);
  assert.match(plain(await differ(page).innerText()), /^Shunt A: .*resistance 35 µΩ 36 µΩ /i);
  const outcomes = page.locator('table.diff', { hasText: 'Against A' });
  assert.ok((await outcomes.locator('tbody tr').count()) > 5);
  // What gets worse comes first, what stays is folded.
  assert.match(await outcomes.first().locator('caption').innerText(), /^(Gets worse|No longer assessed|Gets better)/);
  assert.equal(await page.locator('details.rest table.diff td.new').count(), 0);
}

test('two pasted links show only the values that differ', () =>
  visit({ javaScriptEnabled: false }, async (page) => {
    await open(page, `${demos[0]}current.1`);
    await change(page, resistance, '36u', false);
    await follow(page, page.getByRole('link', { name: 'The whole design' }));
    const changed = await page.locator('#addr').inputValue();
    await open(page, '/compare');
    await page.getByLabel('Design A').fill(new URL(demos[0], base).href);
    await page.getByLabel('Design B').fill(changed);
    await follow(page, page.getByRole('button', { name: 'Compare' }));
    // Two tokens are too long for a header: a page leads to them.
    await page.waitForURL(/\/compare\?d=/);
    await oneDiffers(page);
  }));

test('a design is held against where the visit began by one press', () =>
  visit({ javaScriptEnabled: false }, async (page) => {
    await open(page, `${demos[0]}current.1`);
    await change(page, resistance, '36u', false);
    await page.locator('.since summary').click();
    await follow(page, page.getByRole('link', { name: 'Compare with where you began' }));
    await oneDiffers(page);
  }));

test('a link that cannot be opened says so', () =>
  visit({}, async (page) => {
    const token = tokenOf(demos[0]);
    await open(page, `/compare?d=${token}&d=nonsense`, 400);
    assert.match(await textOf(page, '.summary'), /Design B: /);
    await open(page, '/worksheet?d=nonsense', 400);
    await open(page, '/worksheet/nonsense/', 400);
    await open(page, `/worksheet/${token.slice(0, -20)}/current.1`, 400);
    assert.match(await textOf(page, 'main'), /cut off|damaged/);
  }));

test('a part that is not there is not found', () =>
  visit({}, async (page) => {
    await open(page, `${demos[0]}current.9`, 404);
    assert.match(await textOf(page, 'h1'), /./);
  }));

test('addresses of former versions open the same design', () =>
  visit({}, async (page) => {
    const token = tokenOf(demos[0]);
    for (const [old, now] of [
      [`/worksheet?d=${token}`, demos[0]],
      [`/report?d=${token}`, `${demos[0]}report`],
    ]) {
      await open(page, old);
      assert.equal(page.url(), new URL(now, base).href);
    }
  }));

test('nothing but the visit itself carries where it began', () =>
  visit({ javaScriptEnabled: false }, async (page) => {
    await open(page, `${demos[0]}current.1`);
    await change(page, resistance, '36u', false);
    assert.match(page.url(), /~/);
    await follow(page, page.getByRole('link', { name: 'The whole design' }));
    const address = handedOn(page.url());
    assert.equal(await page.locator('#addr').inputValue(), address, 'the link to copy');
    await follow(page, page.getByRole('link', { name: 'The report, for paper' }));
    assert.ok((await textOf(page, '.idblock')).includes(address));
    assert.doesNotMatch(await textOf(page, 'main'), /~[\w-]{20}/);
  }));

// Two at a time: a page prints in a process of its own, so both cores have work.
describe('the report prints on A4', { concurrency: 2 }, async () => {
  for (const index of [0, 1, 2, 3, 4]) {
    test(`pack ${index + 1}`, () =>
      // 180 mm, the text width of the sheet, at 96 px an inch.
      visit({ viewport: { width: 680, height: 1000 }, colorScheme: index % 2 ? 'dark' : 'light' }, async (page) => {
        await open(page, `${demos[index]}report`);
        await page.emulateMedia({ media: 'print' });
        const cut = await page.evaluate(() =>
          [...document.querySelectorAll('.scroll, table, tr, figure, svg, dl, .idblock dd')]
            .filter((node) => node.getClientRects().length)
            .filter(
              (node) =>
                node.getBoundingClientRect().right > window.innerWidth + 1 ||
                (!(node instanceof SVGElement) && node.scrollWidth > node.clientWidth + 1),
            )
            .map((node) => `${node.tagName} ${node.getAttribute('class')} "${node.textContent.trim().slice(0, 40)}"`),
        );
        assert.deepEqual(cut, []);
        // A heading goes to the next sheet with what follows it.
        const loose = await page.evaluate(() =>
          [...document.querySelectorAll('h2, h3, caption, figcaption, .sec-head')]
            .filter((node) => node.getClientRects().length && getComputedStyle(node).breakAfter !== 'avoid')
            .filter((node) => !node.closest('.verdict, .sec-head, figure'))
            .map((node) => node.textContent.trim().slice(0, 40)),
        );
        assert.deepEqual(loose, []);

        const paper = (await page.pdf({ format: 'A4', preferCSSPageSize: true })).toString('latin1');
        const sheets = paper.match(/\/Type\s*\/Page\b(?!s)/g)?.length ?? 0;
        const parts = await page.locator('.page-start').count();
        assert.ok(sheets > parts && sheets < 6 * parts, `${sheets} sheets for ${parts} parts`);
        const boxes = [...paper.matchAll(/\/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)/g)];
        // 210 mm x 297 mm in points.
        for (const [, width, height] of boxes)
          assert.ok(Math.abs(width - 595) <= 1 && Math.abs(height - 842) <= 1, `${width} x ${height}`);
        assert.match(await textOf(page, '.idblock'), /Fingerprint.*[0-9A-F]{8}/);
        assert.ok((await textOf(page, '.idblock')).includes(new URL(demos[index], base).href), 'the address in full');
      }));
  }
});
