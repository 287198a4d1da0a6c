// The sequence of events, and the answer to "why".

import type { Lane, Told } from "./api";
import { button, fill, make, select } from "./dom";
import type { View } from "./view";
import { clock, orderUnknown, rankSign, rankWord } from "./words";

const kept = 5000;
const shown = 400;

// framed puts a frame around the last mention of each name in a text.
function framed(text: string, names: string[]): (string | HTMLElement)[] {
  const at = names
    .map((name) => ({ name, from: [...text.matchAll(new RegExp(`(?<!\\w)${name}(?!\\w)`, "g"))].pop()?.index ?? -1 }))
    .filter((m) => m.from >= 0)
    .sort((a, b) => a.from - b.from);
  const out: (string | HTMLElement)[] = [];
  let end = 0;
  for (const { name, from } of at) {
    out.push(text.slice(end, from), make("b", {}, name));
    end = from + name.length;
  }
  return [...out, text.slice(end)];
}

export class Events {
  readonly element = make("div");
  readonly why = make("section", { class: "why", "aria-label": "Why", hidden: "" });
  readonly heard = make("div", { class: "visually-hidden", role: "log", "aria-live": "polite" });
  private all: Told[] = [];
  private list = make("ol", { class: "events", "aria-label": "Sequence of events, the newest first" });
  private causes: HTMLSelectElement;
  private ranks: HTMLSelectElement;
  private count = make("p", { class: "note" });
  private due = 0;

  constructor(private view: View, private lanes: Lane[], private show: (e: Told) => void) {
    const refresh = () => view.changed();
    this.causes = select("only events about", [["", "all names"]], (v) => ((view.filter = v), refresh()));
    this.ranks = select("only events that are", [["", "all kinds"], ["trips", "trips, first-out"], ...(["act", "abnormal", "todo"] as const).map((r): [string, string] => [r, rankWord(r)])], (v) => ((view.rank = v), refresh()));
    this.element.append(make("div", { class: "filters" }, this.causes, this.ranks), this.count, this.list);
    view.onChange(() => this.soon());
  }

  get last(): number {
    return this.all[this.all.length - 1]?.seq ?? 0;
  }

  replace(list: Told[]): void {
    this.all = list.slice(-kept);
    this.soon();
  }

  add(list: Told[]): void {
    const fresh = list.filter((e) => e.seq > this.last);
    this.all.push(...fresh);
    if (this.all.length > kept) this.all = this.all.slice(-kept * 0.8);
    const grave = fresh.filter((e) => e.rank === "act" || e.kind === "tripped");
    if (grave.length) this.heard.textContent = grave.slice(-3).map((e) => e.text).join(". ");
    this.soon();
  }

  cutFrom(run: number, scan: number): void {
    this.all = this.all.filter((e) => e.run === run && e.scan < scan);
  }

  private soon(): void {
    if (!this.due) this.due = window.setTimeout(() => ((this.due = 0), this.paint()), 60);
  }

  private matches(e: Told): boolean {
    const { filter, rank } = this.view;
    if (filter && !e.causes.includes(filter)) return false;
    if (rank === "trips") return e.kind === "tripped";
    return !rank || e.rank === rank;
  }

  private paint(): void {
    const names = new Set(this.lanes.map((l) => l.name));
    this.all.forEach((e) => e.causes.forEach((c) => names.add(c)));
    if (this.view.filter) names.add(this.view.filter);
    fill(this.causes, [["", "all names"], ...[...names].sort().map((n): [string, string] => [n, n])]);
    this.causes.value = this.view.filter;
    this.ranks.value = this.view.rank;
    const matching = this.all.filter((e) => this.matches(e));
    const latest = matching.slice(-shown).reverse();
    this.count.textContent = matching.length > shown ? `the newest ${shown} of ${matching.length} events` : `${matching.length} events`;
    const rows = new Map([...this.list.children].map((c) => [(c as HTMLElement).dataset["key"], c as HTMLElement]));
    this.list.replaceChildren(...latest.map((e) => rows.get(this.key(e)) ?? this.row(e)));
    for (const row of this.list.children) {
      const current = (row as HTMLElement).dataset["seq"] === String(this.view.event);
      (row.firstElementChild as HTMLElement).setAttribute("aria-current", String(current));
    }
  }

  private key = (e: Told) => `${e.run}/${e.seq}`;

  private row(e: Told): HTMLElement {
    const body = e.first_out?.length ? make("span", { class: "first" }, ...framed(e.text, e.first_out)) : make("span", {}, e.text);
    if (e.order_unknown) body.append(" ", make("i", {}, orderUnknown()));
    const b = make("button", { type: "button", "data-rank": e.rank },
      make("time", {}, clock(e.time_ns / 1e9, 2)),
      make("span", { class: "sign", "aria-hidden": "true" }, rankSign[e.rank]),
      make("span", {}, make("span", { class: "visually-hidden" }, `${rankWord(e.rank)}: `), body));
    b.addEventListener("click", () => this.select(e));
    return make("li", { "data-seq": String(e.seq), "data-key": this.key(e) }, b);
  }

  select(e: Told): void {
    this.view.event = e.seq;
    this.explain(e);
    this.show(e);
  }

  // edge finds what was told of a lane at a scan, and explains it.
  edge(lane: string, scan: number): boolean {
    let best: Told | undefined;
    for (const e of this.all) {
      if (e.scan === scan && (e.lane === lane || !best)) best = e.lane === lane || !best ? e : best;
      if (e.scan === scan && e.lane === lane && e.kind === "tripped") break;
    }
    if (!best) return false;
    this.view.event = best.seq;
    this.explain(best);
    this.view.changed();
    return true;
  }

  restore(): void {
    const e = this.all.find((x) => x.seq === this.view.event);
    if (e) this.explain(e);
  }

  explain(e: Told): void {
    const facts = make("dl");
    for (const f of e.why?.facts ?? []) facts.append(make("dt", {}, f.name), make("dd", {}, f.value));
    const close = button("Close", "close the explanation", () => {
      this.why.hidden = true;
      this.view.event = 0;
      this.view.changed();
    });
    close.className = "close";
    this.why.replaceChildren(
      close,
      make("h2", { "data-rank": e.rank }, make("span", { class: "sign", "aria-hidden": "true" }, rankSign[e.rank]), e.text),
      make("p", { class: "note" }, `${clock(e.time_ns / 1e9, 3)} · scan ${e.scan} · run ${e.run} · ${rankWord(e.rank)}`),
      make("p", { class: "rule" }, e.why?.rule ?? "told by the session itself"),
      facts,
    );
    this.why.hidden = false;
  }

  plain(text: string): void {
    this.why.replaceChildren(make("p", { class: "note" }, text));
    this.why.hidden = false;
  }
}
