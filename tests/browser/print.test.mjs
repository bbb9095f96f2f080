// On paper: whole pages, nothing cut off at the right edge, and the address to find it again.
import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import { launch, open } from './support.mjs';

let browser;
before(async () => (browser = await launch()));
after(() => browser.close());

test('the current channel prints on A4', async () => {
  const page = await browser.newPage();
  await open(page, '/current-channel');
  const paper = (await page.pdf({ format: 'A4', preferCSSPageSize: true })).toString('latin1');
  const sheets = paper.match(/\/Type\s*\/Page\b(?!s)/g)?.length ?? 0;
  assert.ok(sheets > 1, `${sheets} sheets`);
  const boxes = [...paper.matchAll(/\/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)/g)].map(([, w, h]) => [
    Math.round(w),
    Math.round(h),
  ]);
  // 210 mm x 297 mm in points.
  for (const [width, height] of boxes)
    assert.ok(Math.abs(width - 595) <= 1 && Math.abs(height - 842) <= 1, `${width} x ${height}`);
  await page.close();
});

for (const colorScheme of ['light', 'dark']) {
  test(`nothing is cut off on paper, from a ${colorScheme} screen`, async () => {
    // 180 mm, the text width of the sheet, at 96 px an inch.
    const context = await browser.newContext({ viewport: { width: 680, height: 1000 }, colorScheme });
    const page = await context.newPage();
    await open(page, '/current-channel');
    await page.emulateMedia({ media: 'print' });
    // The style sheet must open by itself what would otherwise be lost, so nothing is opened here.
    const cut = await page.evaluate(() =>
      [...document.querySelectorAll('.scroll, table, figure, svg')]
        .filter((node) => node.getClientRects().length)
        .filter(
          (node) =>
            node.getBoundingClientRect().right > window.innerWidth + 1 ||
            (!(node instanceof SVGElement) && node.scrollWidth > node.clientWidth + 1),
        )
        .map((node) => `${node.tagName} ${node.getAttribute('class')} "${node.textContent.trim().slice(0, 40)}"`),
    );
    assert.deepEqual(cut, []);
    // A field on paper cannot be scrolled, so its text has to fit. A list shows its choice, whose width only drawing it
    // tells.
    const short = await page.evaluate(() => {
      const pen = document.createElement('canvas').getContext('2d');
      const room = (node, style) => node.clientWidth - parseFloat(style.paddingLeft) - parseFloat(style.paddingRight);
      const wide = (node, style, text) => {
        pen.font = `${style.fontWeight} ${style.fontSize} ${style.fontFamily}`;
        return pen.measureText(text).width > room(node, style) + 1;
      };
      return [...document.querySelectorAll('main :is(input, select)')]
        .filter((node) => node.getClientRects().length)
        .map((node) => [node, node.selectedOptions ? node.selectedOptions[0].text : node.value])
        .filter(([node, text]) => wide(node, getComputedStyle(node), text))
        .map(([node, text]) => `${node.id} "${text}"`);
    });
    assert.deepEqual(short, [], 'fields whose text does not fit');
    const paint = await page.evaluate(() => getComputedStyle(document.body).backgroundColor);
    assert.match(paint, /rgba\(0, 0, 0, 0\)|rgb\(255, 255, 255\)/, 'paper is white, whatever the screen');
    const buttons = await page.evaluate(
      () => [...document.querySelectorAll('button')].filter((node) => node.getClientRects().length).length,
    );
    assert.equal(buttons, 0, 'buttons have no use on paper');
    await context.close();
  });
}
