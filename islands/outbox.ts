// What is not yet saved: kept in the browser, shown, and sent once.
//
// An entry is written to the browser's own store before it is sent, and leaves it only when the
// server says that it is saved. Its id is made here and goes with every sending, so that the server
// knows one that comes again. A refused entry stays until it is set right or thrown away.

export interface Held {
  once: string;
  n: number;
  fields: [string, string][];
  photo?: Blob;
  photoName?: string;
  says: string;
  /** Whether what it begins wets paper, so that its end is held, not tapped. */
  wets: boolean;
  typed: string;
  state: "waiting" | "refused";
  told: string;
  problems: { field: string; says: string }[];
  rule: string;
}

export interface Answer {
  saved: boolean;
  says: string;
  undo?: boolean;
  once?: string;
  clock?: string;
  now?: string;
  rule?: string;
  problems?: { field: string; says: string }[];
  touched?: number;
  sign_in?: string;
  both?: { name: string; saved: string; yours: string }[];
}

const STORE = "entries";
const WAITS_MS = [1000, 2000, 4000, 8000, 15000, 30000];

export function newOnce(): string {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}

function asked<T>(request: IDBRequest<T>): Promise<T> {
  return new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error ?? new Error("the browser's store failed"));
  });
}

/** The browser's store; a list in memory where it has none, which is said on the page. */
class Shelf {
  private base: IDBDatabase | null = null;
  private memory = new Map<string, Held>();
  lasting = false;

  async open(): Promise<void> {
    try {
      const request = indexedDB.open("quirewell-outbox", 1);
      request.onupgradeneeded = () => {
        request.result.createObjectStore(STORE, { keyPath: "once" });
      };
      this.base = await asked(request);
      this.lasting = true;
    } catch {
      this.base = null;
    }
  }

  async all(): Promise<Held[]> {
    let found = [...this.memory.values()];
    if (this.base) {
      const store = this.base.transaction(STORE).objectStore(STORE);
      found = [...((await asked(store.getAll())) as Held[]), ...found];
    }
    return found.sort((one, other) => one.n - other.n);
  }

  /** Resolves when the browser says that it is on its disk. */
  put(entry: Held): Promise<void> {
    return this.write((store) => store.put(entry)).catch(() => {
      this.memory.set(entry.once, entry);
      this.lasting = false;
    });
  }

  async drop(once: string): Promise<void> {
    this.memory.delete(once);
    await this.write((store) => store.delete(once)).catch(() => undefined);
  }

  private write(act: (store: IDBObjectStore) => IDBRequest): Promise<void> {
    const base = this.base;
    if (!base) return Promise.reject(new Error("no store"));
    return new Promise((resolve, reject) => {
      const move = base.transaction(STORE, "readwrite", { durability: "strict" });
      move.oncomplete = () => resolve();
      move.onabort = () => reject(move.error ?? new Error("the browser's store is full"));
      move.onerror = () => reject(move.error ?? new Error("the browser's store failed"));
      act(move.objectStore(STORE));
    });
  }
}

export class Outbox extends EventTarget {
  private shelf = new Shelf();
  private sending = false;
  private again = false;
  private tries = 0;
  private timer = 0;
  held: Held[] = [];
  /** Why nothing goes out at the moment; "" while the server answers. */
  trouble = "";
  clockOff = "";
  /** Where this device signs in, while the studio asks for it. */
  signIn = "";

  async begin(): Promise<void> {
    await this.shelf.open();
    await this.reload();
    // Entries are worth keeping when the device runs short of room.
    if (this.held.length) void navigator.storage?.persist?.().catch(() => false);
    for (const name of ["online", "focus", "pageshow"]) {
      window.addEventListener(name, () => this.now());
    }
    document.addEventListener("visibilitychange", () => {
      if (!document.hidden) this.now();
    });
    this.now();
  }

  get lasting(): boolean {
    return this.shelf.lasting;
  }

  get waiting(): Held[] {
    return this.held.filter((entry) => entry.state === "waiting");
  }

  /** Keep an entry and send it; resolves when it is kept here. */
  async add(fields: [string, string][], says: string, photo?: File, wets = false): Promise<string> {
    const once = newOnce();
    const typed = new Date().toISOString();
    const kept = fields.filter(([name]) => !["once", "typed_at", "off_s"].includes(name));
    const last = this.held.at(-1)?.n ?? 0;
    const entry: Held = {
      once, n: Math.max(Date.now(), last + 1),
      fields: [...kept, ["once", once], ["typed_at", typed], ["off_s", this.clockOff]],
      says, wets, typed, state: "waiting", told: "", problems: [], rule: "",
    };
    if (photo) {
      entry.photo = new Blob([await photo.arrayBuffer()], { type: photo.type });
      entry.photoName = photo.name;
    }
    this.held.push(entry);
    // Kept and sent side by side; the store does its changes in order, so that it is dropped after.
    const keeping = this.shelf.put(entry);
    this.changed();
    this.now();
    await keeping;
    return once;
  }

  /** Set a refused entry right and send it again; the server refused it, so its id is unused. */
  async right(once: string, changes: [string, string][]): Promise<void> {
    const entry = this.held.find((one) => one.once === once);
    if (!entry) return;
    const names = changes.map(([name]) => name);
    entry.fields = [...entry.fields.filter(([name]) => !names.includes(name)), ...changes];
    entry.state = "waiting";
    entry.told = "";
    entry.problems = [];
    await this.shelf.put(entry);
    this.changed();
    this.now();
  }

  async throwAway(once: string): Promise<void> {
    this.held = this.held.filter((one) => one.once !== once);
    await this.shelf.drop(once);
    this.changed();
  }

  /** Try to send now, whatever was waited for. */
  now(): void {
    window.clearTimeout(this.timer);
    this.tries = 0;
    void this.send();
  }

  private async reload(): Promise<void> {
    this.held = await this.shelf.all();
    this.changed();
  }

  private changed(): void {
    this.dispatchEvent(new Event("change"));
  }

  private async send(): Promise<void> {
    if (this.sending) {
      this.again = true;
      return;
    }
    this.sending = true;
    try {
      await this.sendAll();
    } finally {
      this.sending = false;
    }
    if (this.again) {
      this.again = false;
      void this.send();
    }
  }

  private async sendAll(): Promise<void> {
    for (const entry of this.waiting) {
      if (!this.held.includes(entry) || this.isHeldBack(entry)) continue;
      if (!(await this.sendOne(entry))) {
        const wait = WAITS_MS[Math.min(this.tries, WAITS_MS.length - 1)] ?? 30000;
        this.tries += 1;
        window.clearTimeout(this.timer);
        this.timer = window.setTimeout(() => void this.send(), wait);
        return;
      }
    }
  }

  /** What belongs to an entry that is still here goes out after it. */
  private isHeldBack(entry: Held): boolean {
    const of = entry.fields.find(([name]) => name === "of" || name === "entry")?.[1];
    return Boolean(of) && this.held.some((other) => other.once === of);
  }

  /** Whether the server answered for this entry, with yes or no. */
  private async sendOne(entry: Held): Promise<boolean> {
    const body = new FormData();
    for (const [name, value] of entry.fields) body.append(name, value);
    body.append("sent_at", new Date().toISOString());
    if (entry.photo) body.append("photo", entry.photo, entry.photoName ?? "picture.jpg");
    let answer: Answer;
    let status: number;
    try {
      const response = await fetch("/today/send", {
        method: "POST", body, headers: { Accept: "application/json" }, cache: "no-store",
        signal: AbortSignal.timeout(entry.photo ? 120_000 : 15_000),
      });
      status = response.status;
      if (!response.headers.get("content-type")?.includes("application/json")) {
        return this.stay("The studio answered with a page: load this one anew, it may ask for its passphrase.");
      }
      answer = (await response.json()) as Answer;
    } catch {
      return this.stay("The studio does not answer.");
    }
    if (answer.saved === true) {
      this.held = this.held.filter((one) => one.once !== entry.once);
      await this.shelf.drop(entry.once);
      this.trouble = "";
      this.signIn = "";
      this.tries = 0;
      this.dispatchEvent(new CustomEvent("saved", { detail: { entry, answer } }));
      this.changed();
      return true;
    }
    if (answer.sign_in) this.signIn = answer.sign_in;
    if (status >= 500 || status === 401 || status === 403 || status === 200) {
      return this.stay(answer.says || "The studio could not save it now.");
    }
    this.trouble = "";
    await this.refuse(entry, answer);
    return true;
  }

  /** The studio asks who this is: nothing goes out before. */
  askedIn(path: string, says: string): void {
    this.signIn = path;
    this.stay(says);
  }

  private stay(says: string): false {
    if (this.trouble !== says) {
      this.trouble = says;
      this.changed();
    }
    return false;
  }

  private async refuse(entry: Held, answer: Answer): Promise<void> {
    entry.state = "refused";
    const both = (answer.both ?? []).map(
      (row) => ` ${row.name}: saved is “${row.saved}”, yours “${row.yours}”.`,
    );
    entry.told = (answer.says || "It was not taken.") + both.join("");
    entry.problems = answer.problems ?? [];
    entry.rule = answer.rule ?? "";
    if (answer.touched !== undefined) {
      entry.fields = entry.fields.filter(([name]) => name !== "touched");
      entry.fields.push(["touched", String(answer.touched)]);
    }
    await this.shelf.put(entry);
    this.dispatchEvent(new CustomEvent("refused", { detail: { entry, answer } }));
    this.changed();
  }
}
