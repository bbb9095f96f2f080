// What a change turned is said under the verdict, and what a press did is said where it leads.
import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import { follow, packs, plain, press, textOf, visitor, withAndWithout } from './design.mjs';
import { launch, open } from './support.mjs';

let browser;
let all;
before(async () => {
  browser = await launch();
  all = await packs();
});
after(() => browser.close());
const visit = visitor(() => browser);

test('after a lever the overview says which requirement turned', () =>
  visit({}, async (page) => {
    await open(page, all[0]);
    assert.doesNotMatch(await textOf(page, '.verdict'), /Since you began/);
    const cause = plain(await page.locator('.turns h4 a').first().innerText());
    await follow(page, page.locator('.turns a.lever').first());
    const said = await textOf(page, '.verdict h2 + p');
    const [, part, name] = said.match(/^Since you began: (.+?): (.+?) goes from fails to (thin|holds|not judged)(, and \d+ more turned)?\.$/);
    assert.equal(`${part}: ${name}`.toLowerCase(), cause.toLowerCase());
  }));

const focused = (page) => page.evaluate(() => document.activeElement.textContent.trim().replace(/\s+/g, ' '));

for (const [javaScriptEnabled, how] of withAndWithout) {
  test(`a part that is moved says where it stands, beside what moves it, ${how}`, () =>
    visit({ javaScriptEnabled }, async (page) => {
      const up = page.getByRole('button', { name: 'Move up' });
      for (const path of all) {
        await open(page, path);
        const [part] = await page.locator('.plist tbody').evaluateAll((groups) => groups.map((group) => group.querySelectorAll('th[scope=row] a')).filter((links) => links.length > 1).map((links) => links[1].getAttribute('href')));
        if (!part) continue;
        await open(page, path + part);
        assert.match(await textOf(page, '#order'), /^Place 2 of \d+ in “.+”$/);
        assert.equal(await press(page, up), 303);
        assert.match(await textOf(page, '#order'), /^Place 1 of \d+ in “.+”$/);
        assert.match(page.url(), /#order$/);
        if (javaScriptEnabled) {
          assert.match(await focused(page), /^Place 1 of/);
          await page.keyboard.press('Tab');
          await page.keyboard.press('Tab');
          assert.equal(await focused(page), 'Move up');
        }
        return;
      }
      assert.fail('no pack has two parts of a section');
    }));

  test(`to add nothing is refused with a way to the boxes, ${how}`, () =>
    visit({ javaScriptEnabled }, async (page) => {
      await open(page, all[0]);
      const parts = await page.locator('.plist th[scope=row]').count();
      assert.equal(await press(page, page.getByRole('button', { name: 'Add what is ticked' })), 422);
      assert.match(await page.title(), /^Error: /);
      assert.match(await textOf(page, '.summary'), /^Nothing is added Nothing is ticked: tick the parts to add\.$/);
      if (javaScriptEnabled) assert.match(await focused(page), /^Nothing is added/);
      await page.locator('.summary a').click();
      await page.keyboard.press('Tab');
      assert.ok(await page.evaluate(() => document.activeElement.name === 'add'), 'the first box');
      assert.equal(await page.locator('.plist th[scope=row]').count(), parts);
    }));
}

test('what shows more rows lands on the first new one', () =>
  visit({}, async (page) => {
    const rows = () => page.locator('#requirements > .one th a').allInnerTexts();
    for (const path of all) {
      await open(page, path);
      const more = page.locator('#requirements').getByRole('link', { name: /^Show \d+ more of them/ });
      if (!(await more.count())) continue;
      const before = (await rows()).length;
      await follow(page, more);
      assert.equal(await focused(page), plain((await rows())[before]));
      return;
    }
    assert.fail('no pack has more rows than are listed');
  }));

test('the title of a part says how it stands, also after a change', () =>
  visit({}, async (page) => {
    await open(page, `${all[0]}current.1`);
    const word = () => page.locator('#results .verdict .v').innerText().then(plain);
    const first = await word();
    assert.ok((await page.title()).startsWith(`${first}: `), await page.title());
    for (const text of ['1m', '1u']) {
      const from = page.url();
      await page.locator('[id="current.1.shunt.resistance_ohm"]').fill(text);
      await page.waitForFunction((old) => location.href !== old, from);
      assert.ok((await page.title()).startsWith(`${await word()}: `), await page.title());
      assert.match(await page.title(), / – [A-Z]\w+$/);
    }
  }));

test('what cannot be compared is told by the name of its field, and leads there', () =>
  visit({}, async (page) => {
    for (const [bad, texts] of [
      ['B', [new URL(all[0], 'http://x').pathname, 'hello']],
      ['A', ['hello', new URL(all[0], 'http://x').pathname]],
    ]) {
      await open(page, '/compare');
      for (const [at, letter] of ['A', 'B'].entries()) await page.getByLabel(`Design ${letter}`).fill(texts[at]);
      const answered = page.waitForResponse((answer) => answer.request().method() === 'POST');
      await Promise.all([page.waitForEvent('load'), page.getByRole('button', { name: 'Compare' }).click()]);
      assert.equal((await answered).status(), 400);
      const said = page.locator('.summary li a');
      const words = plain(await said.innerText());
      assert.match(words, new RegExp(`^Design ${bad}: `));
      const box = page.getByLabel(`Design ${bad}`);
      assert.equal(await box.getAttribute('aria-invalid'), 'true');
      const beside = page.locator(`#${await box.getAttribute('aria-describedby')}`);
      const told = plain(await beside.textContent());
      assert.ok(await beside.isVisible() && told.includes(words), told);
      assert.match(told, /Accepted: the link of a design.* Given: hello\.$/);
      assert.equal(await page.locator('[aria-invalid]').count(), 1);
      await said.press('Enter');
      assert.ok(await box.evaluate((node) => node === document.activeElement));
    }
  }));
