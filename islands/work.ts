// What the studio is working on, asked once a second while it runs.

interface Work {
  running: boolean;
  says: string;
  done: number;
  total: number;
}

let typed = false;
document.addEventListener("input", () => {
  typed = true;
});

class WorkInHand extends HTMLElement {
  private timer = 0;

  connectedCallback(): void {
    if (this.querySelector("progress")) this.timer = window.setTimeout(() => void this.ask(), 700);
  }

  disconnectedCallback(): void {
    clearTimeout(this.timer);
  }

  private async ask(): Promise<void> {
    const says = this.querySelector<HTMLElement>("[data-says]");
    try {
      const answer = await fetch(this.dataset["url"] ?? "", { cache: "no-store" });
      const work = (await answer.json()) as Work;
      if (!work.running) return this.finished(says, work);
      if (says && says.textContent !== work.says) says.textContent = work.says;
      const bar = this.querySelector("progress");
      if (bar && work.total) {
        bar.max = work.total;
        bar.value = work.done;
      }
    } catch {
      if (says) says.textContent = "The studio does not answer; is it still running?";
    }
    this.timer = window.setTimeout(() => void this.ask(), 1000);
  }

  private finished(says: HTMLElement | null, work: Work): void {
    if (!typed) {
      location.reload();
      return;
    }
    if (says) says.textContent = `${work.says} Save what you are typing, then look again.`;
  }
}

customElements.define("qw-work", WorkInHand);
