// Leaving a page on which something typed is refused: it is said, and nothing is lost without a press that says it.
import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import { field, fill, follow, packs, press, recalculate, textOf, visitor } from './design.mjs';
import { launch, open } from './support.mjs';

let browser;
let pack;
before(async () => {
  browser = await launch();
  pack = (await packs())[0];
});
after(() => browser.close());
const visit = visitor(() => browser);

const hazard = 'protection.2.hazard_a';
const tab = (page) => page.getByRole('navigation', { name: 'Parts' }).getByRole('link', { name: 'Shunt A' });
const back = (page) => page.getByRole('button', { name: 'Back to the entry' });
const without = (page) => page.getByRole('button', { name: 'Leave without it' });
const refused = (page) => page.waitForFunction(() => /correction/.test(document.querySelector('#live-status').textContent));

for (const [how, wait] of [
  ['at once', async () => {}],
  ['after the answer', refused],
])
  test(`a tab pressed ${how} says why it does not lead on, and what was typed stays`, () =>
    visit({}, async (page) => {
      await open(page, `${pack}protection.2`);
      await page.locator(field(hazard)).fill('900 V');
      await wait(page);
      for (let press = 1; press <= 2; press += 1) {
        await tab(page).click();
        await back(page).waitFor();
        assert.match(await textOf(page, '#held'), /^Hazard is wanted in ampere; .*900 V.* not taken over yet, and leaving loses it/);
        assert.ok(await back(page).evaluate((node) => node === document.activeElement), 'the way back has the focus');
        await back(page).click();
        assert.equal(await page.locator('#held').count(), 0);
        assert.equal(await page.evaluate(() => document.activeElement.id), hazard);
        assert.equal(await page.locator(field(hazard)).inputValue(), '900 V');
      }
      // Mended, the same press leads on with what was typed.
      await page.locator(field(hazard)).fill('900 A');
      await follow(page, tab(page));
      assert.equal(await textOf(page, 'h1'), 'Shunt A');
      await page.goBack();
      assert.match(await page.locator(field(hazard)).inputValue(), /^900/);
    }));

test('who says so leaves without the entry, by a link and by a button', () =>
  visit({}, async (page) => {
    await open(page, `${pack}protection.2`);
    await page.locator(field(hazard)).fill('900 V');
    await refused(page);
    await page.getByRole('button', { name: 'Duplicate', exact: true }).click();
    await follow(page, without(page));
    assert.equal(await page.getByRole('navigation', { name: 'Parts' }).getByRole('link').count(), 16, 'the copy was made');
    await open(page, `${pack}protection.2`);
    await page.locator(field(hazard)).fill('900 V');
    await tab(page).click();
    await follow(page, without(page));
    assert.equal(await textOf(page, 'h1'), 'Shunt A');
  }));

test('a page that was sent and refused is not left without a word either, and a window is not closed so', () =>
  visit({}, async (page) => {
    await open(page, `${pack}protection.2`);
    await fill(page, hazard, '900 V');
    assert.equal(await press(page, recalculate(page)), 422);
    await tab(page).click();
    await back(page).click();
    assert.equal(await page.locator(field(hazard)).inputValue(), '900 V');
    const asked = page.waitForEvent('dialog');
    await page.close({ runBeforeUnload: true });
    const dialog = await asked;
    assert.equal(dialog.type(), 'beforeunload');
    await dialog.accept();
  }));

test('nothing is asked where all that was typed was taken over', () =>
  visit({}, async (page) => {
    await open(page, `${pack}protection.2`);
    await page.locator(field(hazard)).fill('900 A');
    await follow(page, tab(page));
    assert.equal(await textOf(page, 'h1'), 'Shunt A');
    assert.match(await textOf(page, '.since summary'), /1 value$/);
  }));

test('a link that is held down while the answer comes is followed when it is let go', () =>
  visit({}, async (page) => {
    await open(page, `${pack}protection.2`);
    await page.route('**', async (route) => {
      if (route.request().method() === 'POST') await new Promise((later) => setTimeout(later, 1500));
      await route.continue();
    });
    await page.locator(field(hazard)).fill('900 A');
    const answered = page.waitForResponse((answer) => answer.request().method() === 'POST');
    await tab(page).hover();
    await page.mouse.down();
    await (await answered).finished();
    // The page has had the time to take it in.
    await page.waitForTimeout(300);
    const loaded = page.waitForEvent('load');
    await page.mouse.up();
    await loaded;
    assert.equal(await textOf(page, 'h1'), 'Shunt A');
    assert.match(await textOf(page, '.since summary'), /1 value$/);
  }));

for (const how of ['typed', 'sent'])
  test(`while an entry is refused, ${how}, the strip says that its verdicts are of the last good values`, () =>
    visit({}, async (page) => {
      await open(page, `${pack}protection.2`);
      const said = page.locator('.strip .last');
      assert.ok(!(await said.isVisible()), 'not while all is taken over');
      await fill(page, hazard, '900 V');
      if (how === 'sent') assert.equal(await press(page, recalculate(page)), 422);
      await said.waitFor({ state: 'visible' });
      assert.match(await textOf(page, '.strip .last'), /last good values/);
      await page.locator(field(hazard)).fill('900 A');
      await said.waitFor({ state: 'hidden' });
    }));

test('what paper says of the design follows a change', () =>
  visit({}, async (page) => {
    await open(page, `${pack}protection.2`);
    const said = () => page.locator('.of-design').textContent();
    const before = await said();
    await page.locator(field(hazard)).fill('900 A');
    await page.waitForFunction((old) => document.querySelector('.of-design').textContent !== old, before);
    const after = await said();
    await page.reload();
    assert.equal(await said(), after);
  }));

test('what is typed while an answer is on its way goes along with the press that leaves', () =>
  visit({}, async (page) => {
    await open(page, `${pack}protection.2`);
    // The first answer is held until something else is typed, and the press comes right behind it.
    await page.evaluate(() => {
      const ask = window.fetch;
      window.fetch = async (...question) => {
        const answer = await ask(...question);
        if (!window.arrive) await new Promise((go) => (window.arrive = go));
        return answer;
      };
    });
    await page.locator(field(hazard)).fill('900 A');
    await page.waitForFunction(() => window.arrive);
    await follow(page, {
      click: () =>
        page.evaluate(async () => {
          const noise = document.getElementById('protection.2.noise_a');
          noise.value = '0.4 A';
          noise.dispatchEvent(new Event('input', { bubbles: true }));
          window.arrive();
          while (!/~/.test(location.href)) await new Promise((wait) => setTimeout(wait, 5));
          document.querySelector('.bar.quiet a[href="current.1"]').click();
        }),
    });
    assert.match(await textOf(page, '.since summary'), /2 values$/);
  }));
