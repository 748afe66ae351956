// Keeps the bench page, the page for when it goes wrong and their files on the device, so that they
// open while the studio is away. Nothing else of the studio is kept here, and no saving goes through
// here: entries wait in the page's own outbox. The network comes first whenever it answers.

interface Woken extends Event {
  waitUntil(done: Promise<unknown>): void;
}
interface Asked extends Woken {
  request: Request;
  respondWith(answer: Promise<Response>): void;
}

const worker = self as unknown as {
  addEventListener(name: "install" | "activate", act: (event: Woken) => void): void;
  addEventListener(name: "fetch", act: (event: Asked) => void): void;
  skipWaiting(): Promise<void>;
  clients: { claim(): Promise<void> };
};
const SHELF = "quirewell-bench-1";
const PAGES = ["/today", "/wrong"];
const PATIENCE_MS = 4000;

/** Keep one file, and give its text to be looked through for others. */
async function store(path: string): Promise<string> {
  const answer = await fetch(path, { cache: "no-store" });
  if (!answer.ok || answer.redirected) return "";
  const shelf = await caches.open(SHELF);
  await shelf.put(path, answer.clone());
  return /html|javascript/.test(answer.headers.get("content-type") ?? "") ? answer.text() : "";
}

/** The pages, every file of ours that they name, and every script that those load. */
async function fill(): Promise<void> {
  const waiting = [...PAGES];
  const seen = new Set(waiting);
  for (let path = waiting.pop(); path; path = waiting.pop()) {
    const text = await store(path).catch(() => "");
    const folder = path.slice(0, path.lastIndexOf("/"));
    const named = path.endsWith(".js")
      ? [...text.matchAll(/"\.\/([\w-]+\.js)"/g)].map(([, name]) => `${folder}/${name}`)
      : [...text.matchAll(/(?:href|src)="(\/static\/[^"]+)"/g)].map(([, name]) => name ?? "");
    for (const name of named) {
      if (!seen.has(name)) waiting.push(name);
      seen.add(name);
    }
  }
}

worker.addEventListener("install", (event) => {
  event.waitUntil(fill().then(() => worker.skipWaiting()));
});

worker.addEventListener("activate", (event) => {
  const old = async (): Promise<void> => {
    const names = await caches.keys();
    const mine = names.filter((name) => name.startsWith("quirewell-") && name !== SHELF);
    await Promise.all(mine.map((name) => caches.delete(name)));
    await worker.clients.claim();
  };
  event.waitUntil(old());
});

async function answered(request: Request, path: string): Promise<Response> {
  const shelf = await caches.open(SHELF);
  try {
    const answer = await fetch(request, { signal: AbortSignal.timeout(PATIENCE_MS) });
    if (answer.ok && !answer.redirected && answer.type === "basic") {
      await shelf.put(path, answer.clone());
    }
    return answer;
  } catch {
    return (await shelf.match(path)) ?? fetch(request);
  }
}

worker.addEventListener("fetch", (event) => {
  const url = new URL(event.request.url);
  if (event.request.method !== "GET" || url.origin !== location.origin) return;
  const page = event.request.mode === "navigate" && PAGES.includes(url.pathname);
  if (!page && !url.pathname.startsWith("/static/")) return;
  event.respondWith(answered(event.request, url.pathname));
});
