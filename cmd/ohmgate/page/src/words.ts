// Marks for what the lanes can be. Colour is never alone: each value has a word,
// which the server says, and each abnormal one a hatching of its own.

import type { LaneKind, Rank, Words } from "./api";

export type Hatch = "none" | "plain" | "rising" | "falling" | "crossed" | "dotted" | "upright";
export type Tone = "quiet" | "ink" | "amber" | "red" | "blue";

interface Mark { hatch: Hatch; tone: Tone; level: 0 | 0.5 | 1 }
export interface Look extends Mark { word: string; short?: string }

const blank: Mark = { hatch: "none", tone: "quiet", level: 0 };

// marks are the looks of a lane's values, in the order of the server's words.
const marks: Record<LaneKind, Mark[]> = {
  channel: [
    blank,
    { hatch: "dotted", tone: "quiet", level: 0.5 },
    { hatch: "plain", tone: "quiet", level: 1 },
    { hatch: "rising", tone: "amber", level: 1 },
    { hatch: "crossed", tone: "red", level: 0 },
    { hatch: "upright", tone: "amber", level: 0 },
  ],
  input: [
    { hatch: "upright", tone: "amber", level: 0.5 },
    blank,
    { hatch: "plain", tone: "quiet", level: 1 },
  ],
  output: [
    blank,
    { hatch: "falling", tone: "red", level: 0 },
    { hatch: "plain", tone: "ink", level: 1 },
    blank,
    { hatch: "upright", tone: "amber", level: 0 },
    { hatch: "crossed", tone: "red", level: 0 },
    { hatch: "upright", tone: "amber", level: 1 },
  ],
  vessel: [
    blank,
    { hatch: "crossed", tone: "red", level: 1 },
    { hatch: "falling", tone: "red", level: 1 },
    blank,
    { hatch: "upright", tone: "blue", level: 0.5 },
    { hatch: "crossed", tone: "red", level: 1 },
    { hatch: "crossed", tone: "red", level: 1 },
  ],
  stream: [
    { hatch: "plain", tone: "quiet", level: 1 },
    { hatch: "rising", tone: "quiet", level: 0.5 },
    blank,
  ],
  bypass: [
    blank,
    { hatch: "rising", tone: "amber", level: 1 },
  ],
};

let words: Words | undefined;

// learn takes the words from the server, before anything is drawn.
export const learn = (w: Words): void => void (words = w);

export const lookOf = (kind: LaneKind, value: number): Look => ({
  ...(marks[kind][value] ?? blank),
  ...(words?.lanes[kind][value] ?? { word: "?" }),
});

// wordsOf names every value in a set of them.
export function wordsOf(kind: LaneKind, mask: number): string {
  const list: string[] = [];
  for (let v = 0; v < 8; v++) if ((mask >> v) & 1) list.push(lookOf(kind, v).word);
  return list.join(", ");
}

// gravest is the value in a set that people must not overlook.
const gravity: Record<Tone, number> = { quiet: 0, ink: 0, blue: 1, amber: 2, red: 3 };
export function gravest(kind: LaneKind, last: number, mask: number): number {
  let best = last;
  for (let v = 0; v < 8; v++) {
    if ((mask >> v) & 1 && gravity[lookOf(kind, v).tone] > gravity[lookOf(kind, best).tone]) best = v;
  }
  return best;
}

export const rankSign: Record<Rank, string> = { note: "·", todo: "●", abnormal: "◆", act: "▲" };
export const rankWord = (r: Rank): string => words?.ranks[r] ?? r;
export const orderUnknown = (): string => words?.order_unknown ?? "?";

const prefixes: [number, string][] = [[1e12, "TΩ"], [1e9, "GΩ"], [1e6, "MΩ"], [1e3, "kΩ"], [1, "Ω"], [1e-3, "mΩ"], [1e-6, "µΩ"]];

export function ohms(v: number): string {
  for (const [factor, unit] of prefixes) {
    if (Math.abs(v) >= factor) return `${Number((v / factor).toPrecision(3))} ${unit}`;
  }
  return `${Number(v.toPrecision(3))} Ω`;
}

// clock writes a time of the run; digits says how fine.
export function clock(seconds: number, digits = 2): string {
  const sign = seconds < 0 ? "−" : "";
  const t = Math.abs(seconds);
  const rounded = Number(t.toFixed(digits));
  const h = Math.floor(rounded / 3600), m = Math.floor(rounded / 60) % 60, s = rounded % 60;
  const tail = s.toFixed(digits).padStart(digits ? digits + 3 : 2, "0");
  return h > 0 ? `${sign}${h}:${String(m).padStart(2, "0")}:${tail}` : `${sign}${m}:${tail}`;
}

// span writes a length of time.
export function span(seconds: number): string {
  const t = Math.abs(seconds);
  const sign = seconds < 0 ? "−" : "";
  if (t < 1) return `${sign}${Number((t * 1000).toFixed(3))} ms`;
  if (t < 120) return `${sign}${Number(t.toFixed(3))} s`;
  return `${sign}${clock(t, 1)} min`;
}
