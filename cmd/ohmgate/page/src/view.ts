// What is looked at, and its address: a link shows somebody else the same.

export interface Mark { scan: number; note: string }

export class View {
  from = 0;
  to = 6000;
  follow = true;
  a: number | null = null;
  b: number | null = null;
  lane = "";
  filter = "";
  rank = "";
  event = 0;
  marks: Mark[] = [];
  tall = new Set<string>();
  inputs = false;
  compare = true;
  snap = true;
  tab = "events";
  theme = "";
  now = 0;

  private listeners: (() => void)[] = [];
  private writing = 0;

  constructor(private period: number) {}

  onChange(f: () => void): void {
    this.listeners.push(f);
  }

  changed(): void {
    this.listeners.forEach((f) => f());
    if (!this.writing) {
      this.writing = window.setTimeout(() => {
        this.writing = 0;
        history.replaceState(null, "", "#" + this.address());
      }, 250);
    }
  }

  get width(): number {
    return this.to - this.from;
  }

  seconds(scan: number): number {
    return scan * this.period;
  }

  scans(seconds: number): number {
    return seconds / this.period;
  }

  setRange(from: number, to: number): void {
    const least = 8, most = Math.max(this.now * 1.2, 100 / this.period) + 1000;
    let width = Math.min(Math.max(to - from, least), most);
    if (!Number.isFinite(width)) width = 6000;
    const middle = (from + to) / 2;
    this.from = middle - width / 2;
    this.to = middle + width / 2;
    const slack = width * 0.5;
    if (this.from < -slack) this.shift(-slack - this.from);
    if (this.from > this.now - width * 0.02) this.shift(this.now - width * 0.02 - this.from);
  }

  private shift(by: number): void {
    this.from += by;
    this.to += by;
  }

  // look shows a range and stops following.
  look(from: number, to: number): void {
    this.follow = false;
    this.setRange(from, to);
    this.changed();
  }

  zoom(factor: number, around?: number): void {
    const pin = around ?? (this.follow ? this.now : (this.from + this.to) / 2);
    const share = (pin - this.from) / this.width;
    const width = this.width * factor;
    const following = this.follow;
    this.setRange(pin - share * width, pin + (1 - share) * width);
    if (following) this.keepUp(this.now);
    this.changed();
  }

  pan(scans: number): void {
    this.look(this.from + scans, this.to + scans);
  }

  // centre brings a scan into view without changing the zoom.
  centre(scan: number): void {
    if (scan < this.from + this.width * 0.05 || scan > this.to - this.width * 0.05) {
      this.look(scan - this.width / 2, scan + this.width / 2);
    } else {
      this.changed();
    }
  }

  // keepUp moves the paper so that now stands near its right edge.
  keepUp(now: number): void {
    this.now = now;
    if (!this.follow) return;
    const width = this.width;
    this.to = now + width * 0.04;
    this.from = this.to - width;
  }

  address(): string {
    const p = new URLSearchParams();
    if (!this.follow) p.set("from", this.from.toFixed(2));
    if (!this.follow) p.set("to", this.to.toFixed(2));
    else p.set("width", this.width.toFixed(0));
    if (this.a !== null) p.set("a", String(this.a));
    if (this.b !== null) p.set("b", String(this.b));
    if (this.lane) p.set("lane", this.lane);
    if (this.filter) p.set("filter", this.filter);
    if (this.rank) p.set("rank", this.rank);
    if (this.event) p.set("event", String(this.event));
    if (this.marks.length) p.set("marks", this.marks.map((m) => `${m.scan}~${m.note}`).join("|"));
    if (this.tall.size) p.set("tall", [...this.tall].join(","));
    if (this.inputs) p.set("inputs", "1");
    if (!this.compare) p.set("compare", "0");
    if (!this.snap) p.set("snap", "0");
    if (this.tab !== "events") p.set("tab", this.tab);
    if (this.theme) p.set("theme", this.theme);
    return p.toString();
  }

  // restore reads an address; what it does not understand it leaves alone.
  restore(address: string): void {
    const p = new URLSearchParams(address);
    const number = (name: string): number | null => {
      const text = p.get(name);
      const n = text === null || text === "" ? NaN : Number(text);
      return Number.isFinite(n) && Math.abs(n) < 2 ** 53 ? n : null;
    };
    const from = number("from"), to = number("to"), width = number("width");
    if (from !== null && to !== null && to > from) {
      this.follow = false;
      this.from = from;
      this.to = to;
    } else if (width !== null && width >= 8) {
      this.from = this.to - width;
    }
    this.a = number("a");
    this.b = number("b");
    this.event = number("event") ?? 0;
    this.lane = p.get("lane") ?? "";
    this.filter = p.get("filter") ?? "";
    this.rank = p.get("rank") ?? "";
    this.marks = (p.get("marks") ?? "").split("|").flatMap((text) => {
      const cut = text.indexOf("~");
      const scan = Number(text.slice(0, cut));
      return cut > 0 && Number.isFinite(scan) ? [{ scan, note: text.slice(cut + 1, cut + 81) }] : [];
    });
    this.tall = new Set((p.get("tall") ?? "").split(",").filter(Boolean));
    this.inputs = p.get("inputs") === "1";
    this.compare = p.get("compare") !== "0";
    this.snap = p.get("snap") !== "0";
    const tab = p.get("tab") ?? "";
    if (["events", "break", "runs"].includes(tab)) this.tab = tab;
    const theme = p.get("theme") ?? "";
    if (theme === "light" || theme === "dark") this.theme = theme;
  }
}
