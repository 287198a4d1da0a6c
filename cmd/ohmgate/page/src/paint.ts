// Ink on paper: hatchings, bands and the ruler. All colours come from the style
// sheet, so that dark, light and print agree.

import type { LaneKind, Segment } from "./api";
import type { Tile } from "./tiles";
import { clock, gravest, lookOf, wordsOf, type Hatch, type Tone } from "./words";

export interface Ink {
  paper: string;
  ink: string;
  faint: string;
  grid: string;
  band: string;
  tones: Record<Tone, string>;
  limit: string;
  reference: string;
  font: string;
}

export function readInk(): Ink {
  const style = getComputedStyle(document.documentElement);
  const v = (name: string) => style.getPropertyValue(name).trim();
  return {
    paper: v("--paper"),
    ink: v("--ink"),
    faint: v("--faint"),
    grid: v("--grid"),
    band: v("--band"),
    tones: { quiet: v("--quiet"), ink: v("--ink"), amber: v("--amber"), red: v("--red"), blue: v("--blue") },
    limit: v("--limit"),
    reference: v("--reference"),
    font: "11px system-ui, sans-serif",
  };
}

const patterns = new Map<string, CanvasPattern | string>();

export function forgetPatterns(): void {
  patterns.clear();
}

// hatch is a repeating pattern in one colour; drawn at device pixels.
function hatch(ctx: CanvasRenderingContext2D, kind: Hatch, colour: string, ratio: number): CanvasPattern | string {
  const key = `${kind} ${colour} ${ratio}`;
  const have = patterns.get(key);
  if (have) return have;
  const size = Math.round(8 * ratio);
  const tile = document.createElement("canvas");
  tile.width = tile.height = size;
  const t = tile.getContext("2d")!;
  t.strokeStyle = t.fillStyle = colour;
  t.lineWidth = Math.max(1, 1.1 * ratio);
  const line = (x1: number, y1: number, x2: number, y2: number) => {
    t.beginPath();
    t.moveTo(x1, y1);
    t.lineTo(x2, y2);
    t.stroke();
  };
  if (kind === "rising" || kind === "crossed") {
    for (const d of [-size, 0, size]) line(d, size, d + size, 0);
  }
  if (kind === "falling" || kind === "crossed") {
    for (const d of [-size, 0, size]) line(d, 0, d + size, size);
  }
  if (kind === "upright") line(size / 2, 0, size / 2, size);
  if (kind === "dotted") {
    t.fillRect(size * 0.25, size * 0.25, ratio * 1.2, ratio * 1.2);
    t.fillRect(size * 0.75, size * 0.75, ratio * 1.2, ratio * 1.2);
  }
  const made = ctx.createPattern(tile, "repeat") ?? colour;
  patterns.set(key, made);
  return made;
}

// prepare sizes a canvas for the screen and clears it.
export function prepare(canvas: HTMLCanvasElement, width: number, height: number): [CanvasRenderingContext2D, number] {
  const ratio = window.devicePixelRatio || 1;
  const w = Math.max(1, Math.round(width * ratio)), h = Math.max(1, Math.round(height * ratio));
  if (canvas.width !== w || canvas.height !== h) {
    canvas.width = w;
    canvas.height = h;
    canvas.style.width = `${width}px`;
    canvas.style.height = `${height}px`;
  }
  const ctx = canvas.getContext("2d")!;
  ctx.setTransform(1, 0, 0, 1, 0, 0);
  ctx.clearRect(0, 0, w, h);
  ctx.setTransform(ratio, 0, 0, ratio, 0, 0);
  return [ctx, ratio];
}

export interface Scale { from: number; to: number; left: number; width: number }

export const xOf = (s: Scale, scan: number): number => s.left + ((scan - s.from) / (s.to - s.from)) * s.width;
export const scanAt = (s: Scale, x: number): number => s.from + ((x - s.left) / s.width) * (s.to - s.from);

// ticks are round times in a range, about one every 90 pixels.
export function ticks(s: Scale, period: number): { at: number; step: number }[] {
  const seconds = (s.to - s.from) * period;
  const rough = (seconds * 90) / s.width;
  const rounds = [1, 2, 5, 10, 20, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400, 43200, 86400, 172800, 604800];
  let step = rounds.find((r) => r >= rough) ?? Math.ceil(rough / 604800) * 604800;
  if (rough < 1) {
    const power = 10 ** Math.floor(Math.log10(rough));
    step = [1, 2, 5, 10].map((m) => m * power).find((r) => r >= rough) ?? 1;
  }
  const out: { at: number; step: number }[] = [];
  for (let n = Math.ceil((s.from * period) / step); n * step <= s.to * period; n++) out.push({ at: (n * step) / period, step });
  return out;
}

export function paintRuler(canvas: HTMLCanvasElement, width: number, s: Scale, period: number, ink: Ink, now: number): void {
  const [ctx] = prepare(canvas, width, 22);
  ctx.font = ink.font;
  ctx.fillStyle = ink.faint;
  ctx.strokeStyle = ink.faint;
  ctx.textBaseline = "middle";
  for (const t of ticks(s, period)) {
    if (t.at < 0) continue;
    const x = Math.round(xOf(s, t.at)) + 0.5;
    ctx.beginPath();
    ctx.moveTo(x, 17);
    ctx.lineTo(x, 22);
    ctx.stroke();
    const digits = t.step >= 1 ? 0 : Math.min(3, Math.ceil(-Math.log10(t.step)));
    const text = clock(t.at * period, digits);
    const half = ctx.measureText(text).width / 2;
    if (x - half > s.left - 4 && x + half < s.left + s.width) ctx.fillText(text, x - half, 9);
  }
  const x = xOf(s, now);
  if (x >= s.left && x <= s.left + s.width) {
    ctx.fillStyle = ink.ink;
    ctx.beginPath();
    ctx.moveTo(x - 4, 22);
    ctx.lineTo(x + 4, 22);
    ctx.lineTo(x, 15);
    ctx.fill();
  }
}

// segmentsIn joins tiles to one list in the order of time.
export function segmentsIn(tiles: Tile[]): Segment[] {
  const out: Segment[] = [];
  for (const tile of tiles) {
    for (const s of tile.segments) {
      const last = out[out.length - 1];
      if (last && s[0] <= last[0]) {
        if (s[0] === last[0]) out[out.length - 1] = s;
        continue;
      }
      if (last && last[1] === s[1] && last[2] === s[2] && s[2] === 1 << s[1]) continue;
      out.push(s);
    }
  }
  return out;
}

// paintBand draws a lane of few values. wait is how long a wait ramp is.
export function paintBand(
  ctx: CanvasRenderingContext2D, ratio: number, kind: LaneKind, tiles: Tile[], s: Scale, top: number, height: number, ink: Ink,
  end: number, wait: number,
): void {
  const segments = segmentsIn(tiles);
  const right = Math.min(s.left + s.width, xOf(s, end));
  let lastLine: number | null = null;
  ctx.save();
  ctx.beginPath();
  ctx.rect(s.left, top - 1, s.width, height + 2);
  ctx.clip();
  segments.forEach((segment, i) => {
    const next = segments[i + 1];
    const x1 = Math.max(s.left - 2, xOf(s, segment[0]));
    const x2 = Math.min(right, next ? xOf(s, next[0]) : right);
    if (x2 < s.left || x1 > right) return;
    const value = gravest(kind, segment[1], segment[2]);
    const look = lookOf(kind, value);
    const colour = ink.tones[look.tone];
    const width = Math.max(x2 - x1, 1);
    if (look.tone !== "quiet" && look.tone !== "ink") {
      ctx.globalAlpha = 0.16;
      ctx.fillStyle = colour;
      ctx.fillRect(x1, top, width, height);
      ctx.globalAlpha = 1;
    } else if (look.hatch === "plain") {
      ctx.fillStyle = ink.band;
      ctx.fillRect(x1, top, width, height);
    }
    if (look.hatch !== "none" && look.hatch !== "plain") {
      ctx.globalAlpha = 0.75;
      ctx.setTransform(1, 0, 0, 1, 0, 0);
      ctx.fillStyle = hatch(ctx, look.hatch, colour, ratio);
      ctx.fillRect(x1 * ratio, top * ratio, width * ratio, height * ratio);
      ctx.setTransform(ratio, 0, 0, ratio, 0, 0);
      ctx.globalAlpha = 1;
    }
    if (kind === "vessel" && (value & 3) === 2 && wait > 0) ramp(ctx, segment[0], x1, x2, s, top, height, wait, colour, ink);
    const y = top + height - 1 - look.level * (height - 2);
    ctx.strokeStyle = look.tone === "quiet" ? ink.ink : colour;
    ctx.lineWidth = look.level === 1 && look.tone === "ink" ? 2.4 : 1.4;
    ctx.beginPath();
    if (lastLine !== null && x1 >= s.left) ctx.moveTo(x1, lastLine);
    else ctx.moveTo(x1, y);
    ctx.lineTo(x1, y);
    ctx.lineTo(x2, y);
    ctx.stroke();
    lastLine = y;
    const words = segment[2] & (segment[2] - 1) ? [wordsOf(kind, segment[2])] : [look.word, look.short ?? look.word];
    label(ctx, words, x1, x2, s, top, height, look.tone === "quiet" ? ink.faint : ink.ink, ink);
  });
  ctx.restore();
}

// ramp draws how much of a wait has passed: full height is the whole of it.
function ramp(
  ctx: CanvasRenderingContext2D, began: number, x1: number, x2: number, s: Scale, top: number, height: number, wait: number, colour: string, ink: Ink,
): void {
  const share = (x: number) => Math.min(1, (scanAt(s, x) - began) / wait);
  ctx.fillStyle = ink.paper;
  ctx.beginPath();
  ctx.moveTo(x1, top + height);
  ctx.lineTo(x1, top + height * (1 - share(x1)));
  ctx.lineTo(x2, top + height * (1 - share(x2)));
  ctx.lineTo(x2, top + height);
  ctx.fill();
  ctx.strokeStyle = colour;
  ctx.lineWidth = 1;
  ctx.stroke();
}

function label(
  ctx: CanvasRenderingContext2D, words: string[], x1: number, x2: number, s: Scale, top: number, height: number, colour: string, ink: Ink,
): void {
  const left = Math.max(x1, s.left) + 4;
  const room = Math.min(x2, s.left + s.width) - left - 3;
  if (height < 11 || room < 12) return;
  ctx.font = ink.font;
  const word = words.find((w) => ctx.measureText(w).width <= room);
  if (word === undefined) return;
  const width = ctx.measureText(word).width;
  ctx.textBaseline = "middle";
  ctx.fillStyle = ink.paper;
  ctx.globalAlpha = 0.78;
  ctx.fillRect(left - 2, top + height / 2 - 6, width + 4, 12);
  ctx.globalAlpha = 1;
  ctx.fillStyle = colour;
  ctx.fillText(word, left, top + height / 2 + 0.5);
}
