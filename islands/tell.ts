// A form whose answer takes seconds: how many runs are done, asked while it is worked out.

interface Runs {
  done?: number;
  of?: number;
}

function told(form: HTMLFormElement, url: string): void {
  const says = document.createElement("p");
  says.setAttribute("role", "status");
  const bar = document.createElement("progress");
  bar.setAttribute("aria-label", "Runs done");
  says.append("Following the stack … ", bar);
  form.append(says);
  const ask = async (): Promise<void> => {
    try {
      const runs = (await (await fetch(url, { cache: "no-store" })).json()) as Runs;
      if (runs.of) {
        bar.max = runs.of;
        bar.value = runs.done ?? 0;
        says.firstChild!.textContent = `Following the stack, ${runs.done ?? 0} of ${runs.of} runs … `;
      }
    } catch {
      return;
    }
    window.setTimeout(() => void ask(), 200);
  };
  window.setTimeout(() => void ask(), 200);
}

export {};

for (const form of document.querySelectorAll<HTMLFormElement>("form[data-tell]")) {
  form.addEventListener("submit", () => {
    for (const button of form.querySelectorAll("button")) button.disabled = true;
    told(form, form.dataset["tell"] ?? "");
  });
}
