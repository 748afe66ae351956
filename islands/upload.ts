// Many files dropped at once, sent one after another, each with its own outcome.

interface Arrival {
  says: string;
  ok: boolean;
}

function send(action: string, fields: FormData, moved: (share: number) => void): Promise<Arrival> {
  return new Promise((resolve) => {
    const request = new XMLHttpRequest();
    request.open("POST", action);
    request.setRequestHeader("Accept", "application/json");
    request.upload.addEventListener("progress", (event) => {
      if (event.lengthComputable) moved(event.loaded / event.total);
    });
    request.addEventListener("load", () => resolve(answer(request)));
    request.addEventListener("error", () =>
      resolve({ ok: false, says: "It did not arrive; is the studio still running? Drop it again." }),
    );
    request.send(fields);
  });
}

function answer(request: XMLHttpRequest): Arrival {
  try {
    const body = JSON.parse(request.responseText) as { arrivals?: Arrival[]; says?: string };
    const first = body.arrivals?.[0];
    if (first) return first;
    if (body.says) return { ok: false, says: body.says };
  } catch {
    // not the answer we asked for: told below
  }
  return { ok: false, says: `The studio answered with ${request.status}.` };
}

class Upload extends HTMLElement {
  connectedCallback(): void {
    const form = this.querySelector("form");
    const chooser = this.querySelector<HTMLInputElement>('input[type="file"]');
    if (!form || !chooser || this.dataset["state"]) return;
    this.dataset["state"] = "ready";
    this.addEventListener("dragover", (event) => {
      event.preventDefault();
      this.classList.add("over");
    });
    this.addEventListener("dragleave", () => this.classList.remove("over"));
    this.addEventListener("drop", (event) => {
      event.preventDefault();
      this.classList.remove("over");
      void this.take(form, [...(event.dataTransfer?.files ?? [])]);
    });
    form.addEventListener("submit", (event) => {
      if (!chooser.files?.length) return;
      event.preventDefault();
      void this.take(form, [...chooser.files]);
    });
  }

  private async take(form: HTMLFormElement, files: File[]): Promise<void> {
    if (!files.length) return;
    const status = this.status();
    const list = document.createElement("ul");
    list.className = "arrivals";
    status.after(list);
    let failed = 0;
    for (const [index, file] of files.entries()) {
      const fields = new FormData();
      for (const [name, value] of new FormData(form)) {
        if (typeof value === "string") fields.append(name, value);
      }
      fields.append("files", file, file.name);
      const outcome = await send(form.action, fields, (share) => {
        const percent = Math.round(share * 100);
        status.textContent = `${index + 1} of ${files.length}: ${file.name}, ${percent} % sent`;
      });
      if (!outcome.ok) failed += 1;
      const line = document.createElement("li");
      line.textContent = `${file.name}: ${outcome.ok ? "" : "not taken in. "}${outcome.says}`;
      if (!outcome.ok) line.className = "wrong";
      list.append(line);
    }
    this.dataset["state"] = "done";
    status.textContent = failed
      ? `${files.length - failed} of ${files.length} files are in the studio; the others were not taken in.`
      : `All ${files.length} files are in the studio.`;
    const after = this.dataset["after"];
    if (after) await fetch(after, { method: "POST", body: new URLSearchParams() }).catch(() => null);
    if (failed) this.offerShow(list);
    else location.reload();
  }

  private status(): HTMLElement {
    const found = this.querySelector<HTMLElement>("[data-status]");
    if (found) return found;
    const made = document.createElement("p");
    made.dataset["status"] = "";
    made.setAttribute("role", "status");
    this.append(made);
    return made;
  }

  private offerShow(list: HTMLElement): void {
    const link = document.createElement("a");
    link.className = "button";
    link.href = location.pathname;
    link.textContent = "Go on with what arrived";
    list.after(link);
  }
}

customElements.define("qw-upload", Upload);
