// Bundles the islands into the package; the pages need nothing else at run time.
import { build } from "esbuild";
import { mkdir, readFile, rm, writeFile } from "node:fs/promises";
import { dirname, join } from "node:path";
import { fileURLToPath } from "node:url";

const here = dirname(fileURLToPath(import.meta.url));
const root = join(here, "..");
const out = join(root, "src", "quirewell", "web", "static", "built");

await rm(out, { recursive: true, force: true });
await mkdir(out, { recursive: true });
await build({
  absWorkingDir: root,
  entryPoints: { islands: "islands/main.ts" },
  outdir: out,
  bundle: true,
  splitting: true,
  format: "esm",
  target: "es2022",
  minify: true,
  legalComments: "none",
  logLevel: "warning",
});
// The service worker is one plain script of its own, served from the root of the site.
await build({
  absWorkingDir: root,
  entryPoints: { sw: "islands/sw.ts" },
  outdir: out,
  bundle: true,
  format: "iife",
  target: "es2022",
  minify: true,
  legalComments: "none",
  logLevel: "warning",
});
const licence = await readFile(join(root, "node_modules", "openseadragon", "LICENSE.txt"), "utf8");
await writeFile(join(out, "LICENSES.txt"), `OpenSeadragon\n\n${licence}`);
