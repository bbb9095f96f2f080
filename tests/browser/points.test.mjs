// Measured points: pasted or taken from a file, their residuals seen, the table for the firmware taken home.
import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import { launch, open } from './support.mjs';

let browser;
before(async () => {
  browser = await launch();
});
after(() => browser.close());

const points = 'degC,ohm\n-20,97070\n0,32650\n25,10000\n50,3603\n85,1072\n';

const rows = (page) => page.locator('#out-residuals tbody tr').count();

test('points that are pasted give residuals, without script too', async () => {
  for (const javaScriptEnabled of [true, false]) {
    const context = await browser.newContext({ javaScriptEnabled, viewport: { width: 390, height: 800 } });
    const page = await context.newPage();
    await open(page, '/thermistor/fit');
    await page.fill('[id="points"]', points);
    await page.getByRole('button', { name: 'Recalculate' }).click();
    await page.waitForURL(/points=/);
    assert.equal(await rows(page), 5);
    await context.close();
  }
});

test('points come from a file', async () => {
  const page = await browser.newPage();
  await open(page, '/shunt/fit');
  await page.setInputFiles('[id="points-file"]', {
    name: 'bath.csv',
    mimeType: 'text/csv',
    buffer: Buffer.from('T,R\n-40,34.88u\n0,34.98u\n25,35.00u\n85,34.97u\n125,34.94u\n'),
  });
  await page.waitForURL(/points=/);
  assert.equal(await rows(page), 5);
  await page.close();
});

test('a bad line is named by its number and nothing is lost', async () => {
  const page = await browser.newPage();
  const bad = `${points}95;77O\n`;
  await open(page, `/thermistor/fit?v=1&points=${encodeURIComponent(bad)}`, 422);
  assert.match(await page.locator('.summary').innerText(), /Line 7/);
  assert.match(await page.inputValue('[id="points"]'), /77O/);
  await page.close();
});

test('the table for the firmware is downloaded as a header and as values', async () => {
  const page = await browser.newPage();
  await open(page, '/thermistor/table');
  for (const [name, wanted] of [
    ['Download as .h', /static|const/],
    ['Table as CSV', /,/],
  ]) {
    const [download] = await Promise.all([page.waitForEvent('download'), page.getByText(name).first().click()]);
    const stream = await download.createReadStream();
    let text = '';
    for await (const piece of stream) text += piece;
    assert.match(text, wanted);
  }
  await page.close();
});
