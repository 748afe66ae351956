// When it goes wrong, noted with one touch: kept here first, sent once, whether the studio answers
// or not. The picture goes first, so that the note can name it.
import { Outbox, type Answer, type Held } from "./outbox";

const outbox = new Outbox();
let begun = false;

interface Saved {
  entry: Held;
  answer: Answer & { record?: string };
}

function told(form: HTMLFormElement, words: string, kind: string): void {
  const says = form.querySelector(".kept") ?? form.appendChild(document.createElement("p"));
  says.className = `kept say ${kind}`;
  says.setAttribute("role", "status");
  says.textContent = words;
}

async function keep(form: HTMLFormElement): Promise<void> {
  const data = new FormData(form);
  const item = String(data.get("item") ?? "");
  if (!item) return told(form, "Choose the item that this happened to.", "stop");
  const fields: [string, string][] = [["command", "wrong"], ["device", localStorage.getItem("quirewell-device") ?? ""]];
  let photo: File | undefined;
  for (const [name, value] of data) {
    if (typeof value === "string") fields.push([name, value]);
    else if (value.size) photo = value;
  }
  told(form, "Kept on this device with the time; being sent …", "care");
  if (!begun) {
    begun = true;
    await outbox.begin();
  }
  const name = form.closest("section")?.querySelector("h2")?.textContent ?? "Something went wrong";
  if (photo) {
    const sent: [string, string][] = [["command", "photo"], ["item", item], ["place", String(data.get("place") ?? "")]];
    fields.push(["picture", await outbox.add(sent, `A picture: ${name}`, photo)]);
  }
  const once = await outbox.add(fields, name);
  const saved = (event: Event): void => {
    const { entry, answer } = (event as CustomEvent<Saved>).detail;
    if (entry.once !== once) return;
    const mishap = (answer.record ?? "").split(" ").find((key) => key.startsWith("mishap-")) ?? "";
    window.location.assign(`/wrong?noted=${encodeURIComponent(`${item}:${mishap}`)}#noted`);
  };
  outbox.addEventListener("saved", saved);
  outbox.addEventListener("refused", () => {
    const entry = outbox.held.find((one) => one.once === once);
    if (entry?.state === "refused") told(form, `${entry.told} It stays on this device, on the page Today.`, "stop");
  });
  window.setTimeout(() => {
    if (outbox.held.some((one) => one.once === once)) {
      told(form, "Kept on this device with its time. The studio does not answer; it is sent when it does. Go on.", "care");
    }
  }, 2500);
}

document.addEventListener("submit", (event) => {
  const form = event.target as HTMLFormElement;
  if (!form.dataset["wrong"]) return;
  event.preventDefault();
  void keep(form);
});
