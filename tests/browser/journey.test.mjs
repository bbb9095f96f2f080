// The way an engineer goes with one calculation: change a value, hand the address on; and what becomes of a slip.
import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import { visitor } from './design.mjs';
import { base, launch, open } from './support.mjs';

// A calculation with values of its own.
const example = '/current-channel?v=1&shunt.resistance_ohm=50u';
const field = '[id="shunt.resistance_ohm"]';
const results = '[data-live="out"]';
const changed = '60u';

let browser;
before(async () => (browser = await launch()));
after(() => browser.close());

const visit = visitor(() => browser);

// What the results say at once, when it is no longer what they said: what turns a failure comes later.
const said = ([selector, old]) => {
  const root = document.querySelector(selector);
  const later = root.querySelector('[data-turns]');
  const text = later ? root.innerText.replace(later.innerText, '') : root.innerText;
  const now = text.replace(/\s+/g, ' ').trim();
  return now === old ? '' : now;
};
const textOf = (page) => page.evaluate(said, [results, null]);

// The results once they follow the change, as a person waits for them.
async function recalculated(page, before) {
  await page.waitForFunction(said, [results, before]);
  return textOf(page);
}

test('a calculation shows numbers at once', () =>
  visit({}, async (page) => {
    await open(page, '/');
    await page.locator('main a[href="/current-channel"]').click();
    await page.waitForSelector(results);
    assert.match(await textOf(page), /\d/);
    assert.match(await page.locator('.verdict .lead').first().innerText(), /\d/);
  }));

test('a changed value changes the results and the address, which shows the same to someone else', async () => {
  let address;
  let shown;
  await visit({ permissions: ['clipboard-read', 'clipboard-write'] }, async (page) => {
    await open(page, example);
    const before = await textOf(page);
    const from = page.url();
    await page.locator(field).fill(changed);
    await recalculated(page, before);
    await page.waitForFunction((old) => location.href !== old, from);
    // Once the typing rests the change is announced.
    await page.waitForFunction(() => /\S/.test(document.getElementById('live-status').textContent));

    // What the copy button hands out is the address of what is seen.
    await page.getByRole('button', { name: 'Copy' }).first().click();
    address = await page.evaluate(() => navigator.clipboard.readText());
    assert.equal(address, page.url());
    assert.equal(await page.locator('#addr').inputValue(), page.url());
    assert.equal(await page.locator(field).inputValue(), changed, 'the typed text stays under the cursor');
  });
  await visit({}, async (page) => {
    await open(page, address);
    shown = await textOf(page);
  });

  // Without script the button does the same, down to the address.
  await visit({ javaScriptEnabled: false }, async (page) => {
    await open(page, example);
    const before = await textOf(page);
    await page.locator(field).fill(changed);
    await page.getByRole('button', { name: 'Recalculate' }).first().click();
    await page.waitForLoadState();
    assert.equal(page.url(), address);
    assert.equal(await textOf(page), shown);
    assert.notEqual(shown, before);
  });
});

test('the live results are those of a fresh page', () =>
  visit({}, async (page) => {
    await open(page, example);
    const before = await textOf(page);
    await page.locator(field).fill(changed);
    const live = await recalculated(page, before);
    await page.waitForTimeout(600);
    await page.reload();
    assert.equal(live, await textOf(page));
  }));

for (const javaScriptEnabled of [true, false]) {
  test(`a slip is named, reachable and kept, ${javaScriptEnabled ? 'with' : 'without'} script`, () =>
    visit({ javaScriptEnabled }, async (page) => {
      await open(page, '/shunt');
      await page.locator(field).fill('80O');
      const answered = page.waitForResponse((answer) => answer.request().isNavigationRequest());
      await page.getByRole('button', { name: 'Recalculate' }).first().click();
      assert.equal((await answered).status(), 422);
      await page.waitForLoadState();

      assert.match(await page.title(), /^Error: /);
      const summary = page.locator('div.summary[data-focus]');
      assert.match(await summary.innerText(), /1 value needs/);
      if (javaScriptEnabled) {
        assert.ok(await summary.evaluate((node) => node === document.activeElement), 'the summary has the focus');
      }
      assert.equal(await page.locator(field).inputValue(), '80O');
      assert.equal(await page.locator(field).getAttribute('aria-invalid'), 'true');

      // The same words at the field, which names them as its description.
      const words = await page.locator(`.f.bad:has(${field}) .err`).innerText();
      const ids = (await page.locator(field).getAttribute('aria-describedby')).split(' ');
      const error = await page.locator('.f.bad .err').getAttribute('id');
      assert.ok(ids.includes(error));
      const link = summary.locator('a').first();
      assert.ok(words.includes(await link.innerText()), `${words} / ${await link.innerText()}`);
      await link.click();
      assert.equal(await page.evaluate(() => document.activeElement.id), 'shunt.resistance_ohm');
    }));
}

test('a slip while typing never empties the results', () =>
  visit({}, async (page) => {
    await open(page, '/shunt');
    const before = await textOf(page);
    await page.locator(field).fill('80O');
    await page.waitForTimeout(1500);
    assert.match(await textOf(page), /\d/);
    await page.locator(field).fill('80u');
    assert.notEqual(await recalculated(page, before), before);
    assert.equal(await page.locator('.f.bad').count(), 0);
  }));

test('the keyboard reaches the content in one step', () =>
  visit({}, async (page) => {
    await open(page, '/shunt');
    await page.keyboard.press('Tab');
    await page.keyboard.press('Enter');
    // The address follows a moment after the key.
    await page.waitForURL(/#main$/, { timeout: 5000 });
    await page.keyboard.press('Tab');
    assert.ok(await page.evaluate(() => document.querySelector('#main').contains(document.activeElement)));
  }));

test('the back button returns to the page before', () =>
  visit({}, async (page) => {
    await open(page, '/');
    await page.locator('main a[href="/shunt"]').click();
    await page.waitForSelector(field);
    const before = await textOf(page);
    await page.locator(field).fill(changed);
    await recalculated(page, before);
    await page.goBack();
    assert.equal(page.url(), new URL('/', base).href);
  }));
