// The page: a strip chart of what an earthing interlock does, and why.

import "uplot/dist/uPlot.min.css";
import "./style.css";
import * as api from "./api";
import { Chart } from "./chart";
import { button, make } from "./dom";
import { Events } from "./events";
import { Break, Drive, Orders, Runs } from "./panels";
import { View } from "./view";
import { clock, learn, rankSign, rankWord, span } from "./words";

declare global {
  // For tests and for people who want numbers out of the page.
  interface Window { ohmgate: { view: View; frames: () => number[]; chart: Chart; shot: () => api.Shot | null; line: () => boolean } }
}

class Page {
  private view: View;
  private chart: Chart;
  private events: Events;
  private orders = new Orders();
  private drive: Drive;
  private breaks: Break;
  private runs: Runs;
  private advice = make("section", { class: "advice", "aria-label": "What to do now" });
  private adviceText = "";
  private clock = make("span", { class: "clock" });
  private state = make("span", { class: "where" });
  private health = make("span");
  private panel = make("div", { class: "panel", id: "panel", role: "tabpanel", tabindex: "0" });
  private tabs = new Map<string, HTMLButtonElement>();
  private followButton!: HTMLButtonElement;
  private snapButton!: HTMLButtonElement;
  private help: HTMLDialogElement;
  private shot: api.Shot | null = null;
  private epoch = -1;
  private up = false;
  private askedDifference = 0;
  private printing = false;

  constructor(private site: api.Site) {
    const period = site.period_ns / 1e9;
    this.view = new View(period);
    this.view.to = 60 / period;
    this.view.restore(location.hash.slice(1));
    this.applyTheme();
    this.events = new Events(this.view, site.lanes, (e) => {
      this.chart.place("a", e.scan, e.lane);
      this.view.centre(e.scan);
    });
    this.chart = new Chart(site, this.view, {
      lane: (lane) => {
        this.view.lane = lane;
        this.breaks.choose(lane.slice(lane.indexOf(":") + 1));
        this.view.changed();
      },
      edge: (lane, scan) => this.why(lane, scan),
    });
    this.drive = new Drive(this.orders, this.view, site);
    this.breaks = new Break(this.orders, this.view, site);
    this.runs = new Runs(this.orders, this.view, site, (scan) => {
      this.chart.place("a", scan, "");
      this.view.look(scan - this.view.width / 2, scan + this.view.width / 2);
    });
    this.help = this.makeHelp();
    this.build();
    this.keys();
    this.view.onChange(() => this.reflect());
    addEventListener("hashchange", () => {
      this.view.restore(location.hash.slice(1));
      this.applyTheme();
      this.view.changed();
    });
    // Paper is white, whatever the screen is; canvases have to be drawn anew.
    const paper = matchMedia("print");
    paper.addEventListener("change", () => this.onPaper(paper.matches));
    addEventListener("beforeprint", () => this.onPaper(true));
    addEventListener("afterprint", () => this.onPaper(false));
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => this.applyTheme());
  }

  private build(): void {
    const app = document.getElementById("app")!;
    const title = make("div", {}, make("h1", {}, this.site.title || this.site.site), make("span", { class: "where" }, `${this.site.site} · ${this.site.kind}${this.site.real ? " · real outputs" : ""}`));
    const theme = button("Light / dark", "change between light and dark", () => {
      this.view.theme = document.documentElement.dataset["theme"] === "dark" ? "light" : "dark";
      this.applyTheme();
      this.view.changed();
    });
    const help = button("Keys", "list the keys (question mark)", () => this.help.showModal());
    help.id = "help";
    app.append(
      make("header", {}, title, this.drive.element, make("div", { class: "tools" }, theme, help), make("div", { class: "run", role: "timer", "aria-live": "off", "aria-label": "time of the run" }, this.clock, " ", this.state)),
      this.advice,
      make("main", {}, this.bar(), this.chart.element),
      make("aside", { "aria-label": "Events and controls" }, this.tabList(), this.panel, this.events.why),
      this.foot(),
      this.events.heard,
      this.help,
    );
    document.title = `${this.site.title || this.site.site}: ohmgate`;
    this.showTab();
    this.reflect();
  }

  private foot(): HTMLElement {
    return make("footer", {}, make("span", {}, this.site.caution), this.health);
  }

  private bar(): HTMLElement {
    const v = this.view;
    this.followButton = button("Follow", "keep now at the right edge (f)", () => this.setFollow(!v.follow));
    this.snapButton = button("Snap", "cursors go to the nearest edge (s)", () => {
      v.snap = !v.snap;
      v.changed();
    });
    const range = make("div", { class: "tools", role: "group", "aria-label": "Range" }, this.followButton);
    for (const [text, seconds] of [["1 s", 1], ["10 s", 10], ["1 min", 60], ["10 min", 600], ["1 h", 3600]] as [string, number][]) {
      range.append(button(text, `show ${text}`, () => this.setWidth(seconds)));
    }
    range.append(
      button("All", "show the whole run", () => v.look(0, Math.max(v.now, 100))),
      button("−", "zoom out (minus)", () => v.zoom(2)),
      button("+", "zoom in (plus)", () => v.zoom(0.5)),
    );
    const marks = make("div", { class: "tools", role: "group", "aria-label": "Cursors and marks" },
      this.snapButton,
      button("Mark A", "put a mark where cursor A stands (m)", () => this.mark()),
      button("Clear", "take cursors and marks away", () => {
        v.a = v.b = null;
        v.marks = [];
        v.changed();
      }));
    return make("div", { class: "bar" }, range, marks, this.chart.reads);
  }

  private setWidth(seconds: number): void {
    const v = this.view, width = v.scans(seconds);
    if (v.follow) {
      v.from = v.to - width;
      v.keepUp(v.now);
      v.changed();
      return;
    }
    const middle = v.a ?? (v.from + v.to) / 2;
    v.look(middle - width / 2, middle + width / 2);
  }

  private setFollow(on: boolean): void {
    this.view.follow = on;
    this.view.keepUp(this.view.now);
    this.view.changed();
  }

  private mark(): void {
    const at = this.view.a;
    if (at === null) return;
    const used = new Set(this.view.marks.map((m) => m.note));
    let n = 1;
    while (used.has(`mark ${n}`)) n++;
    this.view.marks.push({ scan: at, note: `mark ${n}` });
    this.view.changed();
  }

  private tabList(): HTMLElement {
    const list = make("div", { class: "tabs", role: "tablist", "aria-label": "Panels" });
    for (const [name, text] of [["events", "Events"], ["break", "Break"], ["runs", "Runs"]] as const) {
      const b = button(text, "", () => {
        this.view.tab = name;
        this.showTab();
        this.view.changed();
      });
      b.removeAttribute("title");
      b.setAttribute("role", "tab");
      b.setAttribute("aria-controls", "panel");
      b.id = `tab-${name}`;
      this.tabs.set(name, b);
      list.append(b);
    }
    list.addEventListener("keydown", (e) => {
      const names = [...this.tabs.keys()];
      const by = { ArrowRight: 1, ArrowLeft: -1 }[e.key];
      if (!by) return;
      const next = names[(names.indexOf(this.view.tab) + by + names.length) % names.length]!;
      this.view.tab = next;
      this.showTab();
      this.tabs.get(next)!.focus();
      e.stopPropagation();
    });
    return list;
  }

  private showTab(): void {
    const inside = { events: this.events.element, break: this.breaks.element, runs: this.runs.element }[this.view.tab] ?? this.events.element;
    if (this.panel.lastElementChild !== inside) this.panel.replaceChildren(this.orders.error, inside);
    this.tabs.forEach((b, name) => {
      b.setAttribute("aria-selected", String(name === this.view.tab));
      b.tabIndex = name === this.view.tab ? 0 : -1;
    });
    this.panel.setAttribute("aria-labelledby", `tab-${this.view.tab}`);
  }

  private onPaper(printing: boolean): void {
    this.printing = printing;
    this.applyTheme();
    this.chart.showAll(printing);
  }

  private applyTheme(): void {
    const dark = this.printing ? false : this.view.theme ? this.view.theme === "dark" : matchMedia("(prefers-color-scheme: dark)").matches;
    const theme = dark ? "dark" : "light";
    if (document.documentElement.dataset["theme"] === theme) return;
    document.documentElement.dataset["theme"] = theme;
    this.chart?.restyle();
  }

  private reflect(): void {
    this.followButton.setAttribute("aria-pressed", String(this.view.follow));
    this.snapButton.setAttribute("aria-pressed", String(this.view.snap));
    if (this.shot) this.drive.tell(this.shot);
    this.showTab();
  }

  private why(lane: string, scan: number): void {
    if (this.events.edge(lane, scan)) return;
    const name = lane.slice(lane.indexOf(":") + 1);
    this.events.plain(`${name} changed at ${clock(this.view.seconds(scan), 3)} (scan ${scan}); nothing was told of it beyond the new value.`);
  }

  // start loads what was told so far and then follows.
  async start(): Promise<void> {
    const s = await api.state();
    if (s.shot) this.heardState(s.epoch, s.shot);
    this.events.replace(await api.lastEvents(5000));
    this.events.restore();
    api.follow(this.events.last, {
      told: (list) => this.events.add(list),
      state: (epoch, shot) => this.heardState(epoch, shot),
      line: (up) => this.heardLine(up),
    });
  }

  private heardLine(up: boolean): void {
    this.up = up;
    this.paintState();
  }

  private heardState(epoch: number, shot: api.Shot): void {
    const fresh = this.epoch !== epoch;
    const first = this.epoch === -1;
    this.epoch = epoch;
    this.shot = shot;
    if (fresh && !first) {
      this.chart.forget();
      void api.lastEvents(5000).then((list) => this.events.replace(list));
    }
    this.chart.tell(shot);
    this.drive.tell(shot);
    this.breaks.tell(shot);
    this.runs.tell(shot, this.chart.difference);
    this.paintAdvice();
    this.paintState();
    this.compare(fresh);
  }

  // compare asks for the first difference now and then, while there is none.
  private compare(fresh: boolean): void {
    if (!this.shot?.reference || (!fresh && (this.chart.difference?.differs || performance.now() - this.askedDifference < 1000))) return;
    this.askedDifference = performance.now();
    api.difference().then(
      (d) => {
        this.chart.difference = d;
        if (this.shot) this.runs.tell(this.shot, d);
        this.view.changed();
      },
      () => {},
    );
  }

  private paintState(): void {
    const shot = this.shot;
    if (!shot) return;
    this.clock.textContent = clock(shot.time_ns / 1e9, 1);
    const { mode, factor, speed, note } = shot.drive;
    let text = `run ${shot.run} · ${mode}`;
    if (mode === "running") text += speed === 0 ? ` at ${Number(factor.toPrecision(2))} ×` : speed === 1 ? "" : ` at ${speed} ×`;
    if (note) text += `: ${note}`;
    if (!this.up) text = "the line to the server is down; what you see is old";
    this.state.textContent = text;
    this.state.dataset["tone"] = this.up && mode !== "stopped" ? "quiet" : "red";
    const late = `scans begin at most ${Number((shot.late.max_ns / 1e6).toPrecision(3))} ms late`;
    this.health.textContent = `${shot.overruns} overruns · ${late}${shot.journal.on ? ` · journal ${Number((shot.journal.lag_ns / 1e6).toPrecision(2))} ms` : " · no journal"}`;
  }

  private paintAdvice(): void {
    const list = this.shot?.advice ?? [];
    const text = JSON.stringify(list);
    if (text === this.adviceText) return;
    this.adviceText = text;
    const rows = [...this.advice.children] as HTMLElement[];
    list.forEach((a, i) => {
      const row = rows[i] ?? this.advice.appendChild(make("p", {}, make("span", { class: "sign", "aria-hidden": "true" }), make("span", { class: "visually-hidden" }), make("span")));
      const [sign, rank, words] = [...row.children];
      row.dataset["rank"] = a.rank;
      sign!.textContent = rankSign[a.rank];
      rank!.textContent = `${rankWord(a.rank)}: `;
      words!.textContent = a.text;
    });
    rows.slice(list.length).forEach((r) => r.remove());
  }

  private keys(): void {
    const v = this.view;
    const actions: Record<string, () => void> = {
      " ": () => this.drive.toggle(),
      ".": () => this.drive.one(),
      f: () => this.setFollow(!v.follow),
      s: () => ((v.snap = !v.snap), v.changed()),
      a: () => this.chart.place("a", this.chart.hovered, ""),
      b: () => this.chart.place("b", this.chart.hovered, ""),
      m: () => this.mark(),
      "+": () => v.zoom(0.5),
      "=": () => v.zoom(0.5),
      "-": () => v.zoom(2),
      "[": () => this.chart.jump(-1),
      "]": () => this.chart.jump(1),
      Home: () => v.look(0, v.width),
      End: () => this.setFollow(true),
      "0": () => v.look(0, Math.max(v.now, 100)),
      ArrowLeft: () => v.pan(-v.width / 8),
      ArrowRight: () => v.pan(v.width / 8),
      ",": () => this.chart.place("a", (v.a ?? v.now) - 1, ""),
      ";": () => this.chart.place("a", (v.a ?? 0) + 1, ""),
      "?": () => this.help.showModal(),
    };
    addEventListener("keydown", (e) => {
      const target = e.target as HTMLElement;
      if (e.ctrlKey || e.metaKey || e.altKey || this.help.open) return;
      if (target.closest("input, select, textarea")) return;
      if (e.key === " " && target.closest("button, [role=tab]")) return;
      const act = actions[e.key];
      if (!act) return;
      e.preventDefault();
      act();
    });
  }

  private makeHelp(): HTMLDialogElement {
    const rows: [string, string][] = [
      ["space", "pause, go on"], [".", "one scan"], ["f", "follow"], ["← →", "pan"], ["+ −", "zoom"], ["Home, End, 0", "beginning, now, the whole run"],
      ["a, b", "set cursor A, B at the pointer"], [", ;", "cursor A one scan back, on"], ["[ ]", "cursor A to the edge before, after, in the chosen lane"],
      ["s", "snap cursors to edges"], ["m", "mark at A"], ["click", "set A; on an edge: why"], ["Shift-click", "set B"], ["drag", "pan"], ["Ctrl-wheel, pinch", "zoom"], ["Shift-wheel", "pan"],
    ];
    const list = make("dl");
    for (const [key, text] of rows) list.append(make("dt", {}, make("kbd", {}, key)), make("dd", {}, text));
    const close = button("Close", "", () => dialog.close());
    close.removeAttribute("title");
    const dialog = make("dialog", { "aria-label": "Keys" }, make("h2", {}, "Keys and hands"), list,
      make("p", { class: "note" }, `site ${this.site.site}, ${this.site.hash.slice(0, 16)} · ohmgate ${this.site.tool} · one scan every ${span(this.site.period_ns / 1e9)}`), close);
    return dialog;
  }

  expose(): void {
    window.ohmgate = { view: this.view, chart: this.chart, frames: () => this.chart.frames, shot: () => this.shot, line: () => this.up };
  }
}

async function begin(): Promise<void> {
  try {
    const site = await api.site();
    learn(site.words);
    const page = new Page(site);
    page.expose();
    await page.start();
  } catch (e) {
    document.getElementById("app")!.append(make("p", { class: "error", role: "alert" }, `The page cannot start: ${e instanceof Error ? e.message : String(e)}`));
    throw e;
  }
}

void begin();
