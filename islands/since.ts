// How long ago something was noted: counted from its instant, so that a sleeping tablet is right.

class Since extends HTMLElement {
  private tick = 0;

  connectedCallback(): void {
    this.show();
    this.tick = window.setInterval(() => this.show(), 10_000);
  }

  disconnectedCallback(): void {
    window.clearInterval(this.tick);
  }

  private show(): void {
    const minutes = Math.floor((Date.now() - Date.parse(this.getAttribute("at") ?? "")) / 60_000);
    if (Number.isNaN(minutes) || minutes < 0) return;
    const hours = Math.floor(minutes / 60);
    this.textContent = hours ? `(${hours} h ${minutes % 60} min ago)` : `(${minutes} min ago)`;
  }
}

customElements.define("qw-since", Since);
export {};
