// Pictures of every page for people to look at, in out/: BASE_URL=http://127.0.0.1:8080 node screens.mjs
// Not a test: whether a page is good to look at is nothing a machine decides.
import { mkdir } from 'node:fs/promises';
import { launch, open, pages, schemes } from './support.mjs';

const out = new URL('out/', import.meta.url);
await mkdir(out, { recursive: true });
const browser = await launch();
for (const { name: called, path, status, then } of await pages()) {
  for (const width of [1280, 390]) {
    for (const colorScheme of schemes) {
      const context = await browser.newContext({ viewport: { width, height: 900 }, colorScheme });
      const page = await context.newPage();
      await open(page, path, status);
      await then?.(page);
      const name = (called ?? path.slice(1)).replace(/[^\w-]+/g, '-').slice(0, 60) || 'start';
      const file = new URL(`${name}-${width}-${colorScheme}.png`, out);
      await page.screenshot({ path: file.pathname, fullPage: true });
      console.log(file.pathname.split('/').pop());
      await context.close();
    }
  }
}
await browser.close();
