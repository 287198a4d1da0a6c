// The chart: ruler, lanes, cursors and marks, and the hands that move them.

import * as api from "./api";
import { button, make } from "./dom";
import { forgetPatterns, paintRuler, readInk, scanAt, xOf, type Ink, type Scale } from "./paint";
import { Strip, type Room, type Sight } from "./strip";
import { Tiles } from "./tiles";
import type { View } from "./view";
import { clock, lookOf, span } from "./words";

const snapPixels = 9;

export interface ChartWishes {
  edge: (lane: string, scan: number) => void; // somebody clicked an edge
  lane: (lane: string) => void;
}

export class Chart {
  readonly element = make("div", { class: "chart", tabindex: "0", role: "group", "aria-label": "Timeline. Arrow keys pan, plus and minus zoom, a and b set cursors, question mark lists all keys." });
  readonly reads = make("span", { class: "reads", role: "status" });
  readonly run: Tiles;
  readonly reference: Tiles;
  private ruler = make("canvas", { role: "img", "aria-label": "time since the run began" });
  private overlay = make("div", { class: "overlay" });
  private lanes = make("div", { class: "lanes" });
  private strips: Strip[] = [];
  private inputsButton: HTMLButtonElement;
  private ink: Ink;
  private dirty = true;
  private shot: api.Shot | null = null;
  private period: number;
  private hover = 0;
  private all = false;
  difference: api.Difference | null = null;
  frames: number[] = [];

  constructor(private site: api.Site, private view: View, private wishes: ChartWishes) {
    this.period = site.period_ns / 1e9;
    this.ink = readInk();
    const wake = () => (this.dirty = true);
    this.run = new Tiles(false, wake);
    this.reference = new Tiles(true, wake);
    const ruler = make("div", { class: "ruler" }, this.ruler);
    this.inputsButton = button("", "show or hide the binary inputs", () => {
      this.view.inputs = !this.view.inputs;
      this.view.changed();
    });
    this.element.append(ruler, this.lanes, this.overlay);
    this.fillLanes();
    this.hands(ruler);
    view.onChange(wake);
    new ResizeObserver(wake).observe(this.element);
    const turn = () => {
      requestAnimationFrame(turn);
      this.frame();
    };
    requestAnimationFrame(turn);
  }

  private fillLanes(): void {
    const watcher = new IntersectionObserver((entries) => {
      for (const e of entries) {
        const strip = this.strips.find((s) => s.element === e.target);
        if (strip && strip.visible !== e.isIntersecting) {
          strip.visible = e.isIntersecting;
          this.dirty = true;
        }
      }
    }, { root: null, rootMargin: "200px" });
    const of = (...kinds: api.LaneKind[]) => this.site.lanes.filter((l) => kinds.includes(l.kind));
    const channels = of("channel").length;
    const room: Room = channels > 16 ? "crowded" : channels > 4 ? "dense" : "wide";
    this.element.classList.toggle("dense", room !== "wide");
    const add = (list: api.Lane[]) => {
      for (const lane of list) {
        const strip = new Strip(lane, room, () => {
          this.wishes.lane(lane.id);
          if (lane.kind === "channel") this.toggleTall(lane.id);
        });
        strip.tall = this.view.tall.has(lane.id);
        strip.element.addEventListener("pointerenter", () => (this.view.lane ||= lane.id));
        this.strips.push(strip);
        this.lanes.append(strip.element);
        watcher.observe(strip.element);
      }
    };
    add(of("output"));
    add(of("vessel"));
    add(of("channel"));
    add(of("stream", "bypass"));
    this.lanes.append(make("div", { class: "group" }, this.inputsButton));
    add(of("input"));
  }

  private toggleTall(id: string): void {
    if (this.view.tall.has(id)) this.view.tall.delete(id);
    else this.view.tall.add(id);
    this.strips.forEach((s) => (s.tall = this.view.tall.has(s.lane.id)));
    this.view.changed();
  }

  get scale(): Scale {
    const left = this.measure("--left");
    return { from: this.view.from, to: this.view.to, left, width: Math.max(40, this.element.clientWidth - this.head - left - 6) };
  }

  private get head(): number {
    return this.measure("--head");
  }

  private measure(name: string): number {
    return parseFloat(getComputedStyle(this.element).getPropertyValue(name)) || 0;
  }

  restyle(): void {
    forgetPatterns();
    this.ink = readInk();
    this.strips.forEach((s) => s.restyle());
    this.dirty = true;
  }

  // showAll draws every lane at once, also those that are scrolled away: a
  // printer does not scroll.
  showAll(all: boolean): void {
    this.all = all;
    this.dirty = true;
    this.frame();
  }

  // tell gives the newest moment to the lanes.
  tell(shot: api.Shot): void {
    this.shot = shot;
    this.view.keepUp(shot.scan);
    this.dirty = true;
  }

  forget(): void {
    this.run.clear();
    this.reference.clear();
    this.difference = null;
    this.dirty = true;
  }

  private frame(): void {
    if (!this.dirty) return;
    this.dirty = false;
    const began = performance.now();
    const scale = this.scale, now = this.view.now;
    const step = Tiles.stepFor(scale.to - scale.from, scale.width);
    const wanted = this.shownStrips();
    const ids = wanted.map((s) => s.lane.id);
    const from = Math.max(0, Math.floor(scale.from)), to = Math.ceil(scale.to);
    this.run.want(ids, from, to, step, now);
    const second = this.shot?.reference;
    if (second && this.view.compare) this.reference.want(ids, from, to, step, second.scans);
    const sight: Sight = { scale, step, now, period: this.period, ink: this.ink, compare: this.view.compare, referenceEnd: second?.scans ?? 0 };
    paintRuler(this.ruler, scale.left + scale.width, scale, this.period, this.ink, now);
    for (const strip of wanted) strip.draw(this.run, second ? this.reference : null, sight);
    this.words();
    this.cursors(scale);
    this.frames.push(performance.now() - began);
    if (this.frames.length > 600) this.frames.shift();
  }

  private shownStrips(): Strip[] {
    const inputs = this.site.lanes.filter((l) => l.kind === "input").length;
    this.inputsButton.textContent = this.view.inputs ? "Hide inputs" : `Show ${inputs} inputs`;
    this.inputsButton.setAttribute("aria-expanded", String(this.view.inputs));
    this.inputsButton.parentElement!.hidden = inputs === 0;
    for (const s of this.strips) {
      s.element.hidden = s.lane.kind === "input" && !this.view.inputs;
      s.element.classList.toggle("selected", s.lane.id === this.view.lane);
    }
    return this.strips.filter((s) => (s.visible || this.all) && !s.element.hidden);
  }

  // words writes beside each lane what it is now, and at cursor A.
  private words(): void {
    const shot = this.shot;
    if (!shot) return;
    for (const strip of this.strips) {
      const [now, tone] = this.nowOf(strip.lane, shot.values[this.site.lanes.indexOf(strip.lane)]!, shot);
      strip.say(now, tone);
      const at = this.view.a !== null && strip.visible ? strip.readingAt(this.run, this.view.a) : "";
      strip.sayAt(at);
      strip.describe(`${strip.lane.name}: now ${now}${at ? `; at cursor A ${at}` : ""}${strip.lane.limits ? `; ${strip.lane.limits}` : ""}`);
    }
  }

  private nowOf(lane: api.Lane, value: number, shot: api.Shot): [string, string] {
    const look = lookOf(lane.kind, value);
    if (lane.kind === "channel") {
      const c = shot.channels![lane.index]!;
      const extra = c.doubt_percent ? `, doubt ${c.doubt_percent} %` : c.settled_percent ? ` ${c.settled_percent} %` : "";
      return [`${c.reading} · ${look.word}${extra}`, look.tone];
    }
    if (lane.kind === "vessel") {
      const v = shot.vessels![lane.index]!;
      if (v.waiting) return [`${look.short ?? look.word} ${clock(Math.ceil(v.left_ns / 1e9), 0)}`, look.tone];
      if (v.may_be_charged) return [look.short ?? look.word, look.tone];
    }
    return [look.word, look.tone];
  }

  // cursors places the lines that stand over all lanes.
  private cursors(scale: Scale): void {
    this.overlay.style.left = `${this.head + scale.left}px`;
    this.overlay.style.width = `${scale.width}px`;
    this.overlay.style.height = `${this.lanes.offsetHeight}px`;
    const want: { key: string; kind: string; scan: number; tag: string }[] = [];
    const { a, b } = this.view;
    if (a !== null) want.push({ key: "a", kind: "a", scan: a, tag: `A ${clock(this.view.seconds(a), this.digits)}` });
    if (b !== null) want.push({ key: "b", kind: "b", scan: b, tag: `B ${clock(this.view.seconds(b), this.digits)}` });
    this.view.marks.forEach((m, i) => want.push({ key: `m${i}`, kind: "mark", scan: m.scan, tag: m.note }));
    if (this.difference?.differs && this.view.compare) {
      want.push({ key: "d", kind: "difference", scan: this.difference.scan, tag: "first difference" });
    }
    const have = new Map([...this.overlay.children].map((c) => [(c as HTMLElement).dataset["key"], c as HTMLElement]));
    for (const w of want) {
      const line = have.get(w.key) ?? this.newCursor(w.key, w.kind);
      have.delete(w.key);
      const x = xOf({ ...scale, left: 0 }, w.scan);
      line.style.transform = `translateX(${x.toFixed(1)}px)`;
      line.hidden = x < -1 || x > scale.width + 1;
      const tag = line.firstElementChild as HTMLElement;
      if (tag.textContent !== w.tag) tag.textContent = w.tag;
      tag.style.transform = x > scale.width - 110 ? "translateX(-100%)" : "";
    }
    have.forEach((gone) => gone.remove());
    this.say();
  }

  private get digits(): number {
    return this.period < 0.01 ? 3 : 2;
  }

  private say(): void {
    const { a, b } = this.view;
    const at = (s: number) => clock(this.view.seconds(s), this.digits);
    let text = a === null ? "click to set cursor A, Shift-click for B" : `A ${at(a)}`;
    if (b !== null) text += ` · B ${at(b)}`;
    if (a !== null && b !== null) text = `A ${at(a)} · B ${at(b)} · Δt ${span(this.view.seconds(b - a))} (${b - a} scans)`;
    if (this.reads.textContent !== text) this.reads.textContent = text;
  }

  private newCursor(key: string, kind: string): HTMLElement {
    const tag = make("span", { class: "tag" });
    const line = make("div", { class: `cursor ${kind}`, "data-key": key }, tag);
    this.overlay.append(line);
    if (key === "a" || key === "b") {
      tag.addEventListener("pointerdown", (down) => {
        down.preventDefault();
        down.stopPropagation();
        tag.setPointerCapture(down.pointerId);
        const move = (e: PointerEvent) => this.place(key, this.scanOf(e), "");
        const up = (e: PointerEvent) => {
          tag.removeEventListener("pointermove", move);
          void this.snap(key, this.scanOf(e), this.view.lane);
        };
        tag.addEventListener("pointermove", move);
        tag.addEventListener("pointerup", up, { once: true });
      });
    }
    return line;
  }

  place(key: "a" | "b", scan: number, lane: string): void {
    this.view[key] = Math.max(0, Math.min(Math.round(scan), Math.max(0, this.view.now - 1)));
    if (lane) this.view.lane = lane;
    this.view.changed();
  }

  // snap puts a cursor on the nearest edge of a lane, if one is near enough.
  async snap(key: "a" | "b", scan: number, lane: string): Promise<number | null> {
    this.place(key, scan, lane);
    if (!this.view.snap || !lane) return null;
    const edge = await this.edgeNear(lane, scan);
    if (edge !== null) this.place(key, edge, lane);
    return edge;
  }

  private async edgeNear(lane: string, scan: number): Promise<number | null> {
    try {
      const got = await api.nearest(lane, scan);
      const pixels = (Math.abs(got.scan - scan) / this.view.width) * this.scale.width;
      return got.found && pixels <= snapPixels ? got.scan : null;
    } catch {
      return null;
    }
  }

  // jump moves cursor A to the next or previous edge of the chosen lane.
  jump(direction: 1 | -1): void {
    const from = this.view.a ?? this.view.now;
    const step = Tiles.stepFor(this.view.width, this.scale.width);
    let best: number | null = null;
    for (const tile of this.run.see(this.view.lane, this.view.from, this.view.to, step)) {
      for (const s of tile.segments) {
        if (direction > 0 ? s[0] > from && (best === null || s[0] < best) : s[0] < from && (best === null || s[0] > best)) best = s[0];
      }
    }
    if (best !== null) {
      this.place("a", best, "");
      this.view.centre(best);
    }
  }

  private scanOf(e: { clientX: number }): number {
    const box = this.element.getBoundingClientRect();
    return scanAt(this.scale, e.clientX - box.left - this.head);
  }

  get hovered(): number {
    return this.hover || (this.view.from + this.view.to) / 2;
  }

  private hands(ruler: HTMLElement): void {
    const pointers = new Map<number, PointerEvent>();
    let start: { x: number; from: number; to: number; moved: boolean; lane: string } | null = null;
    let pinch = 0;
    this.element.addEventListener("pointerdown", (e) => {
      const lane = (e.target as HTMLElement).closest<HTMLElement>(".lane")?.dataset["lane"] ?? "";
      const onPaper = (e.target as HTMLElement).closest(".strip, .ruler");
      if (!onPaper || e.button !== 0) return;
      pointers.set(e.pointerId, e);
      start = { x: e.clientX, from: this.view.from, to: this.view.to, moved: false, lane };
    });
    this.element.addEventListener("pointermove", (e) => {
      this.hover = this.scanOf(e);
      if (!pointers.has(e.pointerId) || !start) return;
      pointers.set(e.pointerId, e);
      if (pointers.size === 2) {
        const [p, q] = [...pointers.values()];
        const apart = Math.abs(p!.clientX - q!.clientX);
        if (pinch > 0 && apart > 4) this.view.zoom(pinch / apart, this.scanOf({ clientX: (p!.clientX + q!.clientX) / 2 }));
        pinch = apart;
        start.moved = true;
        return;
      }
      const by = e.clientX - start.x;
      if (Math.abs(by) > 4 && !start.moved) {
        start.moved = true;
        this.element.setPointerCapture(e.pointerId);
      }
      if (start.moved) {
        const scans = (-by / this.scale.width) * (start.to - start.from);
        this.view.look(start.from + scans, start.to + scans);
      }
    });
    const up = (e: PointerEvent) => {
      pointers.delete(e.pointerId);
      pinch = 0;
      if (start && !start.moved && e.type === "pointerup") void this.click(e, start.lane);
      if (pointers.size === 0) start = null;
    };
    this.element.addEventListener("pointerup", up);
    this.element.addEventListener("pointercancel", up);
    this.element.addEventListener("dblclick", (e) => {
      if ((e.target as HTMLElement).closest(".strip")) this.view.zoom(0.4, this.scanOf(e));
    });
    this.element.addEventListener("wheel", (e) => {
      const onRuler = ruler.contains(e.target as Node);
      if (e.ctrlKey || onRuler) {
        e.preventDefault();
        this.view.zoom(Math.exp(e.deltaY * 0.002), this.scanOf(e));
      } else if (e.shiftKey || Math.abs(e.deltaX) > Math.abs(e.deltaY)) {
        e.preventDefault();
        this.view.pan(((e.deltaX || e.deltaY) / this.scale.width) * this.view.width);
      }
    }, { passive: false });
  }

  // click sets a cursor; on an edge it also asks why.
  private async click(e: PointerEvent, lane: string): Promise<void> {
    const scan = this.scanOf(e);
    if (lane) this.wishes.lane(lane);
    const edge = await this.snap(e.shiftKey ? "b" : "a", scan, lane);
    const asked = edge ?? (lane ? await this.edgeNear(lane, scan) : null);
    if (asked !== null && !e.shiftKey) this.wishes.edge(lane, asked);
  }
}
