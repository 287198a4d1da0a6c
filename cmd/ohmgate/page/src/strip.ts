// One lane of the chart. Channels are drawn by uPlot on a log axis, with their
// phase as a band below; everything of few values is a band alone.

import uPlot from "uplot";
import type { Lane } from "./api";
import { paintBand, prepare, ticks, xOf, type Ink, type Scale } from "./paint";
import type { Tile, Tiles } from "./tiles";
import { lookOf, ohms, wordsOf } from "./words";

const absent = 1, bad = 2, overRange = 4;
const bandHeight = 14;

// Room is how much height the lanes of a site leave each other.
export type Room = "wide" | "dense" | "crowded";

export interface Sight { scale: Scale; step: number; now: number; period: number; ink: Ink; compare: boolean; referenceEnd: number }

export class Strip {
  readonly element: HTMLElement;
  private plot: uPlot | null = null;
  private holder = document.createElement("div");
  private band = document.createElement("canvas");
  private second = document.createElement("canvas");
  private nowText = document.createElement("span");
  private atText = document.createElement("span");
  private nameButton = document.createElement("button");
  private sight: Sight | null = null;
  private flags: { x: number; flags: number }[] = [];
  private low = 0.1;
  private high = 1000;
  visible = true;
  tall = false;

  constructor(readonly lane: Lane, private room: Room, onName: (strip: Strip) => void) {
    this.element = document.createElement("div");
    this.element.className = `lane ${lane.kind}`;
    this.element.dataset["lane"] = lane.id;
    const head = document.createElement("div");
    head.className = "head";
    this.nameButton.className = "name";
    this.nameButton.textContent = lane.name;
    this.nameButton.title = [lane.title, lane.limits, lane.not_shown, lane.permissive && `permissive: ${lane.permissive}`].filter(Boolean).join("\n");
    this.nameButton.addEventListener("click", () => onName(this));
    this.nowText.className = "now";
    this.atText.className = "at";
    head.append(this.nameButton, this.nowText, this.atText);
    const paper = document.createElement("div");
    paper.className = "strip";
    this.second.className = "second";
    this.second.hidden = true;
    if (lane.kind === "channel") paper.append(this.holder);
    paper.append(this.band, this.second);
    paper.setAttribute("role", "img");
    this.element.append(head, paper);
    if (lane.kind === "channel") this.range();
  }

  // range gives the axis two decades to each side of the limit.
  private range(): void {
    const reject = this.lane.reject_ohms || 10;
    const decade = Math.round(Math.log10(reject));
    this.low = 10 ** (decade - 2);
    this.high = 10 ** (decade + 2);
  }

  get plotHeight(): number {
    if (this.lane.kind !== "channel") return 0;
    return this.tall ? 190 : { wide: 74, dense: 56, crowded: 40 }[this.room];
  }

  get bandHeight(): number {
    if (this.lane.kind === "channel") return bandHeight;
    return this.room === "wide" ? 21 : 17;
  }

  say(now: string, tone: string): void {
    if (this.nowText.textContent !== now) this.nowText.textContent = now;
    this.nowText.dataset["tone"] = tone;
  }

  sayAt(text: string): void {
    if (this.atText.textContent !== text) this.atText.textContent = text;
  }

  draw(run: Tiles, reference: Tiles | null, sight: Sight): void {
    this.sight = sight;
    const { scale } = sight;
    const tiles = run.see(this.lane.id, scale.from, scale.to, sight.step);
    if (this.lane.kind === "channel") this.drawTrace(tiles, sight);
    const [ctx, ratio] = prepare(this.band, scale.left + scale.width, this.bandHeight);
    this.grid(ctx, this.bandHeight);
    paintBand(ctx, ratio, this.lane.kind, tiles, scale, 1, this.bandHeight - 2, sight.ink, sight.now, this.wait(sight));
    this.drawSecond(reference, sight);
  }

  private wait(sight: Sight): number {
    return (this.lane.wait_ns ?? 0) / 1e9 / sight.period;
  }

  private grid(ctx: CanvasRenderingContext2D, height: number): void {
    const s = this.sight!;
    ctx.strokeStyle = s.ink.grid;
    ctx.lineWidth = 1;
    ctx.beginPath();
    for (const t of ticks(s.scale, s.period)) {
      const x = Math.round(xOf(s.scale, t.at)) + 0.5;
      ctx.moveTo(x, 0);
      ctx.lineTo(x, height);
    }
    ctx.stroke();
  }

  // drawSecond puts the other run's lane under this one.
  private drawSecond(reference: Tiles | null, sight: Sight): void {
    const shown = reference !== null && sight.compare;
    this.second.hidden = !shown;
    this.element.classList.toggle("paired", shown);
    if (!shown) return;
    const { scale } = sight;
    const tiles = reference.see(this.lane.id, scale.from, scale.to, sight.step);
    const height = this.lane.kind === "channel" && this.room !== "crowded" ? 34 : 15;
    const [ctx, ratio] = prepare(this.second, scale.left + scale.width, height);
    this.grid(ctx, height);
    const ink = { ...sight.ink, ink: sight.ink.reference };
    const top = this.lane.kind === "channel" && this.room !== "crowded" ? height - bandHeight : 1;
    if (top > 1) this.traceSecond(ctx, tiles, scale, top - 1, ink);
    paintBand(ctx, ratio, this.lane.kind, tiles, scale, top, height - top - 1, ink, sight.referenceEnd, this.wait(sight));
    ctx.font = sight.ink.font;
    ctx.fillStyle = sight.ink.faint;
    ctx.textBaseline = "middle";
    ctx.fillText("other", 2, height / 2);
  }

  private traceSecond(ctx: CanvasRenderingContext2D, tiles: Tile[], scale: Scale, height: number, ink: Ink): void {
    const y = (v: number) => height - ((Math.log10(Math.min(Math.max(v, this.low), this.high)) - Math.log10(this.low)) / Math.log10(this.high / this.low)) * height;
    ctx.strokeStyle = ink.reference;
    ctx.lineWidth = 1.2;
    ctx.save();
    ctx.beginPath();
    ctx.rect(scale.left, 0, scale.width, height);
    ctx.clip();
    ctx.beginPath();
    let down = false;
    for (const tile of tiles) {
      const r = tile.readings;
      if (!r) continue;
      for (let i = 0; i < r.max.length; i++) {
        const v = r.max[i] ?? (r.flags[i]! & overRange ? this.high : null);
        if (v === null || v === undefined) {
          down = false;
          continue;
        }
        const x = xOf(scale, r.start + i * r.step);
        if (down) ctx.lineTo(x, y(v));
        else ctx.moveTo(x, y(v));
        down = true;
      }
    }
    ctx.stroke();
    ctx.restore();
  }

  // data joins tiles to uPlot's columns. An over-range reading pegs the pen at
  // the top edge, as a recorder's would.
  private data(tiles: Tile[], from: number, to: number): uPlot.AlignedData {
    const x: number[] = [], low: (number | null)[] = [], high: (number | null)[] = [];
    this.flags = [];
    const stale = this.lane.stale_scans ?? 0;
    let gap = 0;
    const clamp = (v: number) => Math.min(Math.max(v, this.low), this.high);
    for (const tile of tiles) {
      const r = tile.readings;
      if (!r) continue;
      const first = Math.max(0, Math.floor((from - r.start) / r.step) - 1);
      const last = Math.min(r.max.length - 1, Math.ceil((to - r.start) / r.step) + 1);
      for (let i = first; i <= last; i++) {
        const at = r.start + i * r.step;
        if (x.length && at <= x[x.length - 1]!) continue;
        const flags = r.flags[i]!, max = r.max[i], min = r.min[i];
        if (flags === absent) {
          gap += r.step;
          if (gap <= stale) continue; // a channel that waits for its turn on the bus
        } else {
          gap = 0;
        }
        x.push(at);
        high.push(flags & overRange ? this.high : max === null || max === undefined ? null : clamp(max));
        low.push(min === null || min === undefined ? (flags & overRange ? this.high : null) : clamp(min));
        if (flags === absent || flags & bad) this.flags.push({ x: at, flags });
      }
    }
    return [x, high, low] as uPlot.AlignedData;
  }

  private drawTrace(tiles: Tile[], sight: Sight): void {
    const { scale } = sight;
    const data = this.data(tiles, scale.from, scale.to);
    const width = scale.left + scale.width, height = this.plotHeight;
    if (this.plot && this.plot.width === width && this.plot.height === height) {
      this.plot.batch(() => {
        this.plot!.setData(data, false);
        this.plot!.setScale("x", { min: scale.from, max: scale.to });
      });
      return;
    }
    if (this.plot) {
      this.plot.setSize({ width, height });
      this.plot.batch(() => {
        this.plot!.setData(data, false);
        this.plot!.setScale("x", { min: scale.from, max: scale.to });
      });
      return;
    }
    this.plot = new uPlot(this.options(width, height, scale), data, this.holder);
  }

  // restyle throws the plot away, so that it is made again in the new ink.
  restyle(): void {
    this.plot?.destroy();
    this.plot = null;
  }

  private options(width: number, height: number, scale: Scale): uPlot.Options {
    const ink = this.sight!.ink;
    return {
      width,
      height,
      padding: [2, 0, 1, 0],
      legend: { show: false },
      cursor: { show: false },
      select: { show: false, left: 0, top: 0, width: 0, height: 0 },
      scales: {
        x: { time: false, auto: false, min: scale.from, max: scale.to },
        y: { distr: 3, log: 10, auto: false, range: () => [this.low, this.high] },
      },
      axes: [
        { show: false },
        {
          size: () => this.sight!.scale.left,
          gap: 3,
          font: ink.font,
          stroke: ink.faint,
          ticks: { show: false },
          grid: { stroke: ink.grid, width: 1 },
          splits: () => this.splits(),
          filter: (_u, splits) => splits,
          values: (_u, splits) => splits.map((v, i) => (i === 0 || i === splits.length - 1 ? "" : ohms(v))),
        },
      ],
      series: [
        {},
        { stroke: ink.ink, width: 1.3, points: { show: false }, spanGaps: false },
        { stroke: ink.ink, width: 1, points: { show: false }, spanGaps: false },
      ],
      bands: [{ series: [1, 2], fill: ink.band }],
      hooks: { drawClear: [(u) => this.under(u)], drawAxes: [(u) => this.limits(u)], draw: [(u) => this.over(u)] },
    };
  }

  private splits(): number[] {
    const out: number[] = [];
    const every = this.plotHeight < 50 ? 2 : 1;
    for (let d = Math.round(Math.log10(this.low)); d <= Math.round(Math.log10(this.high)); d += every) out.push(10 ** d);
    return out;
  }

  // under draws the paper's lines before the trace.
  private under(u: uPlot): void {
    const s = this.sight!;
    const ctx = u.ctx, ratio = uPlot.pxRatio;
    ctx.save();
    ctx.strokeStyle = s.ink.grid;
    ctx.lineWidth = ratio;
    ctx.beginPath();
    for (const t of ticks(s.scale, s.period)) {
      const x = Math.round(xOf(s.scale, t.at) * ratio) + 0.5;
      ctx.moveTo(x, u.bbox.top);
      ctx.lineTo(x, u.bbox.top + u.bbox.height);
    }
    ctx.stroke();
    ctx.restore();
  }

  // limits are drawn over the grid and under the trace.
  private limits(u: uPlot): void {
    const ratio = uPlot.pxRatio;
    u.ctx.save();
    this.limitLine(u, this.lane.reject_ohms, [], "reject");
    this.limitLine(u, this.lane.accept_ohms, [5 * ratio, 4 * ratio], "accept");
    u.ctx.restore();
  }

  private limitLine(u: uPlot, value: number | undefined, dash: number[], word: string): void {
    if (!value) return;
    const ink = this.sight!.ink, ctx = u.ctx, ratio = uPlot.pxRatio;
    const y = Math.round(u.valToPos(value, "y", true)) + 0.5;
    ctx.strokeStyle = ink.limit;
    ctx.lineWidth = ratio;
    ctx.setLineDash(dash);
    ctx.beginPath();
    ctx.moveTo(u.bbox.left, y);
    ctx.lineTo(u.bbox.left + u.bbox.width, y);
    ctx.stroke();
    ctx.setLineDash([]);
    if (this.plotHeight < 50) return;
    ctx.font = `${10 * ratio}px system-ui, sans-serif`;
    ctx.fillStyle = ink.limit;
    ctx.textAlign = "left";
    ctx.textBaseline = word === "reject" ? "bottom" : "top";
    ctx.fillText(`${word} ${ohms(value)}`, u.bbox.left + 4 * ratio, y + (word === "reject" ? -1 : 2) * ratio);
  }

  // over marks what was no number: a cross for bad quality, a dot for nothing.
  private over(u: uPlot): void {
    const s = this.sight!, ctx = u.ctx, ratio = uPlot.pxRatio;
    const y = u.bbox.top + u.bbox.height - 4 * ratio;
    ctx.save();
    ctx.strokeStyle = ctx.fillStyle = s.ink.tones.amber;
    ctx.lineWidth = ratio;
    ctx.beginPath();
    let last = -Infinity;
    for (const f of this.flags) {
      const x = xOf(s.scale, f.x) * ratio;
      if (x < u.bbox.left || x - last < 3 * ratio) continue;
      last = x;
      if (f.flags & bad) {
        ctx.moveTo(x - 2 * ratio, y - 2 * ratio);
        ctx.lineTo(x + 2 * ratio, y + 2 * ratio);
        ctx.moveTo(x - 2 * ratio, y + 2 * ratio);
        ctx.lineTo(x + 2 * ratio, y - 2 * ratio);
      } else {
        ctx.fillRect(x, y, ratio, ratio);
      }
    }
    ctx.stroke();
    ctx.restore();
  }

  // describe puts the lane into words for those who do not see it.
  describe(text: string): void {
    this.element.querySelector(".strip")!.setAttribute("aria-label", text);
  }

  // readingAt is what a cursor shows of this lane.
  readingAt(tiles: Tiles, scan: number): string {
    const got = tiles.valueAt(this.lane.id, scan, this.lane.stale_scans);
    if (got.value === undefined) return "";
    const many = (got.mask ?? 0) & ((got.mask ?? 0) - 1);
    const word = many && !got.exact ? wordsOf(this.lane.kind, got.mask!) : lookOf(this.lane.kind, got.value).word;
    if (this.lane.kind !== "channel") return word;
    const flags = got.flags ?? 0;
    let reading = got.ohms !== undefined ? ohms(got.ohms) : "nothing";
    if (flags & overRange) reading = "over-range";
    else if (flags & bad) reading = "bad quality";
    return `${reading}, ${word}`;
  }
}
