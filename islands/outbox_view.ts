// The entries that are not yet saved, each to be read, set right or thrown away.
import { type Held, type Outbox } from "./outbox";

const WORDS: Record<string, string> = {
  value: "The reading", words: "The note", places: "Which sheets", place: "Where",
  planned: "For how long", most: "Never longer than", more: "How much longer", note: "Note",
  minutes: "Minutes", method: "How the pH was read",
};

function el<K extends keyof HTMLElementTagNameMap>(
  name: K, className = "", text = "",
): HTMLElementTagNameMap[K] {
  const made = document.createElement(name);
  if (className) made.className = className;
  if (text) made.textContent = text;
  return made;
}

/** A moment as the bench's clock shows it. */
function clock(text: string): string {
  const zone = document.querySelector<HTMLElement>("qw-today")?.dataset["zone"] || undefined;
  const moment = new Date(text);
  return Number.isNaN(moment.getTime())
    ? ""
    : moment.toLocaleTimeString("en-GB", { hour: "2-digit", minute: "2-digit", timeZone: zone });
}

let drawn = "";

/** What is kept here and not yet saved is not pressed a second time. */
export function markHeld(bench: HTMLElement, outbox: Outbox): void {
  const names = ["command", "item", "id", "task", "entry"];
  const key = (of: (name: string) => string): string => names.map(of).join("|");
  const waiting = new Set(
    outbox.waiting.map((entry) => key((name) => entry.fields.find(([one]) => one === name)?.[1] ?? "")),
  );
  for (const form of bench.querySelectorAll<HTMLFormElement>("form[data-entry]")) {
    const data = new FormData(form);
    const of = (name: string): string => String(data.get(name) ?? "");
    const button = form.querySelector("button");
    if (!button || !["start", "done", "undo", "not-done"].includes(of("command"))) continue;
    if (!of("id") && !of("task") && !of("entry")) continue;
    const kept = waiting.has(key(of));
    if (kept === (button.dataset["was"] !== undefined)) continue;
    button.disabled = kept;
    if (kept) {
      button.dataset["was"] = button.textContent ?? "";
      button.textContent = "Kept here, not yet saved";
    } else {
      button.textContent = button.dataset["was"] ?? "";
      delete button.dataset["was"];
    }
  }
}

export function showOutbox(box: HTMLElement, outbox: Outbox, away: string): void {
  const state = JSON.stringify([outbox.held.map((one) => [one.once, one.state, one.told]), outbox.trouble, outbox.signIn, away]);
  if (state === drawn) return;
  drawn = state;
  const held = outbox.held;
  const parts: HTMLElement[] = [];
  if (away) {
    const rest = "What you enter is kept here and sent when it is back.";
    parts.push(el("p", "what", `The studio does not answer. What you see is of ${clock(away)}. ${rest}`));
  }
  if (outbox.signIn && !away) {
    const link = el("a", "button", "Sign in again");
    link.href = `${outbox.signIn}?back=${encodeURIComponent("/today")}`;
    const says = el("p", "what", "The studio asks for its passphrase. What waits here is sent then. ");
    says.append(link);
    parts.push(says);
  }
  // An entry on its way for a moment is not worth a line that jumps.
  const shown = away || outbox.trouble || held.some((one) => one.state === "refused");
  if (held.length && shown) {
    parts.push(el("h2", "", `${held.length} ${held.length === 1 ? "entry" : "entries"} not yet saved`));
    if (outbox.trouble && !away && !outbox.signIn) parts.push(el("p", "", outbox.trouble));
    const list = el("ul");
    for (const entry of held) list.append(line(entry, outbox));
    parts.push(list);
    const now = el("button", "quiet", "Send now");
    now.type = "button";
    now.addEventListener("click", () => outbox.now());
    if (outbox.waiting.length) parts.push(now);
  }
  // What is being typed into a refused entry stays.
  const typed = [...box.querySelectorAll<HTMLInputElement>("input[id]")].map((one) => [one.id, one.value]);
  const focused = document.activeElement?.id ?? "";
  box.replaceChildren(...parts);
  for (const [id, value] of typed) {
    const again = document.getElementById(id ?? "") as HTMLInputElement | null;
    if (again && box.contains(again)) again.value = value ?? "";
  }
  const back = focused ? document.getElementById(focused) : null;
  if (back && box.contains(back)) back.focus({ preventScroll: true });
}

function line(entry: Held, outbox: Outbox): HTMLElement {
  const made = el("li");
  made.append(el("p", "", `${entry.says} (${clock(entry.typed)})`));
  if (entry.state === "refused") made.append(...setRight(entry, outbox));
  else made.append(...goesOn(entry, outbox));
  return made;
}

/** A step begun while the studio is away runs here, from its instant, and can be ended here. */
function goesOn(entry: Held, outbox: Outbox): HTMLElement[] {
  const of = (name: string): string => entry.fields.find(([one]) => one === name)?.[1] ?? "";
  if (of("command") !== "start") return [];
  if (outbox.held.some((one) => one.fields.some(([name, value]) => name === "of" && value === entry.once))) return [];
  const timer = document.createElement("qw-clock");
  const start = Date.parse(entry.typed) + Number(of("off_s") || "0") * 1000;
  timer.dataset["start"] = new Date(start).toISOString();
  const minutes = Number(of("planned"));
  if (minutes) timer.dataset["due"] = new Date(start + minutes * 60_000).toISOString();
  const most = Number(of("most"));
  if (most) timer.dataset["most"] = new Date(start + most * 60_000).toISOString();
  timer.dataset["key"] = entry.once;
  timer.dataset["name"] = entry.says;
  const form = el("form");
  form.dataset["entry"] = "done";
  form.dataset["says"] = entry.says.replace(/^Begun/, "Done");
  if (entry.wets) form.dataset["hold"] = "yes";
  for (const [name, value] of [["command", "done"], ["item", of("item")], ["of", entry.once]] as const) {
    const input = el("input");
    input.type = "hidden";
    input.name = name;
    input.value = value;
    form.append(input);
  }
  form.append(el("button", "", "Done"));
  return [timer, form];
}

function setRight(entry: Held, outbox: Outbox): HTMLElement[] {
  const says = el(entry.problems.length > 1 ? "ul" : "p", "wrong");
  if (entry.problems.length > 1) says.append(...entry.problems.map((one) => el("li", "", one.says)));
  else says.textContent = entry.told;
  const fields = el("div", "fields");
  const named = [...new Set(entry.problems.map((problem) => problem.field))];
  for (const name of named.filter((one) => one in WORDS)) {
    fields.append(box(name, WORDS[name] ?? name, entry));
  }
  if (entry.rule) fields.append(box("override", "Begin all the same, because", entry));
  const row = el("div", "row");
  const again = el("button", "", "Send it again");
  again.type = "button";
  again.addEventListener("click", () => {
    const changes = [...fields.querySelectorAll<HTMLInputElement>("input")].map(
      (input): [string, string] => [input.name, input.value],
    );
    void outbox.right(entry.once, changes);
  });
  row.append(again);
  if (named.includes("typed_at")) {
    const now = el("button", "quiet", "Save it with the studio's time");
    now.type = "button";
    now.addEventListener("click", () => void outbox.right(entry.once, [["take", "now"]]));
    row.append(now);
  }
  if (entry.rule) {
    const item = entry.fields.find(([name]) => name === "item")?.[1] ?? "";
    const before = el("a", "button quiet", "Answer these first");
    before.href = `/item/${encodeURIComponent(item)}/treat/before`;
    row.append(before);
  }
  const away = el("button", "stop", "Throw it away");
  away.type = "button";
  away.addEventListener("click", () => {
    if (away.dataset["sure"]) void outbox.throwAway(entry.once);
    away.dataset["sure"] = "yes";
    away.textContent = "Really throw it away? Touch again";
  });
  row.append(away);
  return [says, fields, row];
}

function box(name: string, words: string, entry: Held): HTMLElement {
  const label = el("label", "", words);
  const input = el("input");
  input.name = name;
  input.id = `${entry.once}-${name}`;
  input.value = entry.fields.find(([one]) => one === name)?.[1] ?? "";
  input.autocomplete = "off";
  label.append(input);
  return label;
}
