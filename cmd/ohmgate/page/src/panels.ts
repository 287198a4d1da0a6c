// What people may do to a run: drive it, break it, run it again, compare.

import * as api from "./api";
import { button, fill, make, select } from "./dom";
import type { View } from "./view";
import { span } from "./words";

const speeds: [string, string][] = [
  ["0.01", "1/100 slow motion"], ["0.1", "1/10 slow motion"], ["0.5", "half speed"], ["1", "real time"], ["5", "5 ×"], ["20", "20 ×"], ["100", "100 ×"], ["0", "as fast as it goes"],
];

export class Orders {
  readonly error = make("p", { class: "error", role: "alert" });
  busy = false;

  async give(o: api.Order): Promise<boolean> {
    this.error.textContent = "";
    this.busy = true;
    try {
      await api.order(o);
      return true;
    } catch (e) {
      this.error.textContent = e instanceof Error ? e.message : String(e);
      return false;
    } finally {
      this.busy = false;
    }
  }
}

// Drive moves the paper.
export class Drive {
  readonly element = make("div", { class: "tools", role: "group", "aria-label": "Drive" });
  private go: HTMLButtonElement;
  private step: HTMLButtonElement;
  private back: HTMLButtonElement;
  private speed: HTMLSelectElement;
  private mode = "";

  constructor(private orders: Orders, private view: View, private site: api.Site) {
    this.go = button("Pause", "pause or go on (space)", () => this.toggle());
    this.step = button("One scan", "turn a single scan (full stop)", () => this.one());
    this.back = button("Wind back to A", "turn the run again up to cursor A", () => {
      if (this.view.a !== null) void this.orders.give({ do: "rewind", scan: this.view.a });
    });
    this.speed = select("speed", speeds, (v) => void this.orders.give({ do: "speed", speed: Number(v) }));
    if (site.control) this.element.append(this.go, this.step, this.speed, this.back);
    else this.element.append(make("span", { class: "note" }, site.real ? "real outputs attached: look only" : "read-only"));
  }

  toggle(): void {
    if (this.site.control) void this.orders.give({ do: this.mode === "running" ? "pause" : "resume" });
  }

  one(): void {
    if (this.site.control && this.mode === "paused") void this.orders.give({ do: "scan", scans: 1 });
  }

  tell(shot: api.Shot): void {
    this.mode = shot.drive.mode;
    const running = this.mode === "running";
    this.go.textContent = running ? "Pause" : "Go on";
    this.go.disabled = this.mode === "ended" || this.mode === "stopped";
    this.step.disabled = this.mode !== "paused";
    this.back.disabled = this.view.a === null;
    const value = String(shot.drive.speed);
    if (document.activeElement !== this.speed) {
      if (!speeds.some(([v]) => v === value)) fill(this.speed, [...speeds, [value, `${value} ×`]]);
      this.speed.value = value;
    }
  }
}

// Break injects faults and does what hands do.
export class Break {
  readonly element = make("div");
  private on: HTMLSelectElement;
  private fault: HTMLSelectElement;
  private models = make("p", { class: "note" });
  private params = make("div", { class: "params" });
  private acting = make("ul", { class: "acting", "aria-label": "Faults acting now" });
  private actingText = "";

  constructor(private orders: Orders, private view: View, private site: api.Site) {
    const targets = [...new Set(site.faults.flatMap((f) => f.on ?? []))];
    const order = site.lanes.map((l) => l.name).filter((n) => targets.includes(n));
    this.on = select("what to break", order.map((n) => [n, n]), () => this.offer());
    this.fault = select("fault", [], () => this.describe());
    if (!site.control || site.faults.length === 0) {
      this.element.append(make("p", { class: "note" }, this.whyNot()), this.acting);
      return;
    }
    const inject = button("Inject", "let this fault act from now on", () => void orders.give({ do: "act", act: { do: "inject", on: this.on.value, fault: this.fault.value, with: this.figures() } }));
    const clear = button("Clear", "end this fault", () => void orders.give({ do: "act", act: { do: "clear", on: this.on.value, fault: this.fault.value } }));
    inject.id = "inject";
    this.element.append(
      make("h2", {}, "Break something"),
      make("label", { class: "field" }, make("span", {}, "On"), this.on),
      make("label", { class: "field" }, make("span", {}, "Fault"), this.fault),
      this.models,
      this.params,
      make("div", { class: "row" }, inject, clear),
      make("h3", {}, "Acting now"),
      this.acting,
      ...this.hands(),
    );
    this.offer();
  }

  private whyNot(): string {
    if (this.site.real) return "Real outputs are attached: nothing can be injected.";
    if (!this.site.control) return "This page is read-only. Start serve with --control to inject faults.";
    return `A ${this.site.kind} takes no faults; only a simulation does.`;
  }

  // hands are what people in the plant can press, set and clamp.
  private hands(): HTMLElement[] {
    const act = (what: api.Order["act"]) => void this.orders.give({ do: "act", act: what });
    const named = (...uses: string[]) => this.site.lanes.filter((l) => l.kind === "input" && uses.includes(l.use ?? "")).map((l): [string, string] => [l.name, l.name]);
    const rows: HTMLElement[] = [make("h3", {}, "Hands")];
    const row = (label: string, names: [string, string][], ...does: [text: string, title: string, act: (on: string) => api.Order["act"]][]) => {
      if (names.length === 0) return;
      const which = select(label, names, () => {});
      rows.push(make("div", { class: "row hands" }, which, ...does.map(([text, title, make]) => button(text, title, () => act(make(which.value))))));
    };
    row("button", named("button", "key"),
      ["Press", "press for half a second", (on) => ({ do: "press", on, for: "0.5 s" })],
      ["Hold", "hold it down", (on) => ({ do: "hold", on })],
      ["Let go", "let it go", (on) => ({ do: "release", on })]);
    row("clamp", this.site.lanes.filter((l) => l.kind === "channel").map((l) => [l.name, l.name]),
      ["Clamp on", "put this clamp on its part", (on) => ({ do: "connect", on })],
      ["Clamp off", "take this clamp off", (on) => ({ do: "disconnect", on })]);
    row("switch", named("switch", "evidence"),
      ["On", "set it", (on) => ({ do: "set", on, to: "yes" })],
      ["Off", "unset it", (on) => ({ do: "set", on, to: "no" })]);
    return rows;
  }

  private offer(): void {
    fill(this.fault, this.site.faults.filter((f) => f.on?.includes(this.on.value)).map((f) => [f.name, f.title || f.name]));
    this.describe();
  }

  private describe(): void {
    const fault = this.site.faults.find((f) => f.name === this.fault.value);
    this.models.textContent = fault?.models ?? "";
    this.params.replaceChildren(...(fault?.params ?? []).map((p) => {
      const field = p.words?.length ? select(p.name, p.words.map((w) => [w, w]), () => {}) : make("input", { type: "text", value: p.default, size: "10" });
      if (p.words?.length && p.default) field.value = p.default;
      field.dataset["param"] = p.name;
      return make("label", { class: "row", title: p.what }, field, `${p.name.replaceAll("_", " ")}: ${p.what}`);
    }));
  }

  // figures are the parameters as they stand; those left alone are not sent.
  private figures(): Record<string, string> {
    const out: Record<string, string> = {};
    const fault = this.site.faults.find((f) => f.name === this.fault.value);
    for (const field of this.params.querySelectorAll<HTMLInputElement | HTMLSelectElement>("[data-param]")) {
      const name = field.dataset["param"]!;
      if (field.value && field.value !== fault?.params?.find((p) => p.name === name)?.default) out[name] = field.value;
    }
    return out;
  }

  tell(shot: api.Shot): void {
    const text = shot.faults.join("\n");
    if (text === this.actingText && this.acting.childElementCount) return;
    this.actingText = text;
    const list = shot.faults.length ? shot.faults : ["none"];
    this.acting.replaceChildren(...list.map((f) => make("li", {}, f)));
  }

  choose(name: string): void {
    if ([...this.on.options].some((o) => o.value === name)) {
      this.on.value = name;
      this.offer();
    }
    void this.view;
  }
}

// Runs begins new runs and compares two.
export class Runs {
  readonly element = make("div");
  private what = make("p", { class: "note" });
  private differs = make("p", { id: "difference" });
  private show: HTMLButtonElement;

  constructor(orders: Orders, private view: View, private site: api.Site, private go: (scan: number) => void) {
    const scenario = select("scenario", [["", "nothing by itself"], ...site.scenarios.map((s): [string, string] => [s.name, s.title || s.name])], () => {});
    const keep = make("input", { type: "checkbox", id: "keep" });
    const begin = button("Begin a new run", "from power-up", () =>
      void orders.give({ do: "begin", keep: keep.checked, request: { scenario: scenario.value, seed: 0, paused: false } }));
    this.show = button("Show the first difference", "centre the chart on it", () => this.go(this.at));
    const pair = make("input", { type: "checkbox", id: "pair" });
    pair.checked = view.compare;
    pair.addEventListener("change", () => {
      view.compare = pair.checked;
      view.changed();
    });
    this.element.append(make("h2", {}, "Runs"));
    if (site.control) {
      this.element.append(
        make("label", { class: "field" }, make("span", {}, "Scenario"), scenario),
        make("label", { class: "row" }, keep, "keep this run, to see the two under each other"),
        make("div", { class: "row" }, begin));
    }
    this.element.append(make("h3", {}, "Two runs"), this.what, make("label", { class: "row" }, pair, "draw the other run under each lane"), this.differs, this.show);
  }

  private at = 0;

  tell(shot: api.Shot, d: api.Difference | null): void {
    this.what.textContent = shot.reference
      ? `under it: ${shot.reference.name}, ${span(this.view.seconds(shot.reference.scans))} long`
      : `no second run; ${this.site.control ? "begin a new one and keep this" : "start serve with --against FILE"}`;
    this.show.hidden = !d?.differs;
    this.differs.textContent = "";
    if (!d) return;
    this.at = d.scan;
    this.differs.textContent = d.differs
      ? `First difference at ${span(this.view.seconds(d.scan))} (scan ${d.scan}): ${d.lanes.map((l) => l.slice(l.indexOf(":") + 1)).join(", ")}`
      : `No difference in the first ${d.through + 1} scans.`;
    if (d.gaps) this.differs.textContent += " Old edges of a lane are gone; compared from where both are known.";
  }
}
