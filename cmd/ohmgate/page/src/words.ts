// Words and marks for what the lanes can be. Colour is never alone: each value
// has a word, and each abnormal one a hatching of its own.

import type { LaneKind, Rank } from "./api";

export type Hatch = "none" | "plain" | "rising" | "falling" | "crossed" | "dotted" | "upright";
export type Tone = "quiet" | "ink" | "amber" | "red" | "blue";

export interface Look { word: string; short?: string; hatch: Hatch; tone: Tone; level: 0 | 0.5 | 1 }

const channel: Look[] = [
  { word: "unconnected", hatch: "none", tone: "quiet", level: 0 },
  { word: "settling", hatch: "dotted", tone: "quiet", level: 0.5 },
  { word: "bonded", hatch: "plain", tone: "quiet", level: 1 },
  { word: "doubtful", hatch: "rising", tone: "amber", level: 1 },
  { word: "lost", hatch: "crossed", tone: "red", level: 0 },
  { word: "unreadable", hatch: "upright", tone: "amber", level: 0 },
];
const input: Look[] = [
  { word: "unknown", hatch: "upright", tone: "amber", level: 0.5 },
  { word: "off", hatch: "none", tone: "quiet", level: 0 },
  { word: "on", hatch: "plain", tone: "quiet", level: 1 },
];
const output: Look[] = [
  { word: "kept out", hatch: "none", tone: "quiet", level: 0 },
  { word: "tripped", hatch: "falling", tone: "red", level: 0 },
  { word: "enabled", hatch: "plain", tone: "ink", level: 1 },
  { word: "?", hatch: "none", tone: "quiet", level: 0 },
  { word: "kept out, unconfirmed", hatch: "upright", tone: "amber", level: 0 },
  { word: "tripped, unconfirmed", hatch: "crossed", tone: "red", level: 0 },
  { word: "enabled, unconfirmed", hatch: "upright", tone: "amber", level: 1 },
];
const vessel: Look[] = [
  { word: "clear", hatch: "none", tone: "quiet", level: 0 },
  { word: "may be charged", short: "charged?", hatch: "crossed", tone: "red", level: 1 },
  { word: "wait", hatch: "falling", tone: "red", level: 1 },
  { word: "?", hatch: "none", tone: "quiet", level: 0 },
  { word: "clear, reconnected early", short: "early", hatch: "upright", tone: "blue", level: 0.5 },
  { word: "may be charged, reconnected early", short: "charged? early", hatch: "crossed", tone: "red", level: 1 },
  { word: "wait, reconnected early", short: "wait, early", hatch: "crossed", tone: "red", level: 1 },
];
const stream: Look[] = [
  { word: "may flow", hatch: "plain", tone: "quiet", level: 1 },
  { word: "running down", hatch: "rising", tone: "quiet", level: 0.5 },
  { word: "ended", hatch: "none", tone: "quiet", level: 0 },
];
const bypass: Look[] = [
  { word: "off", hatch: "none", tone: "quiet", level: 0 },
  { word: "active", hatch: "rising", tone: "amber", level: 1 },
];

const looks: Record<LaneKind, Look[]> = { channel, input, output, vessel, stream, bypass };

const unknown: Look = { word: "unknown", hatch: "none", tone: "quiet", level: 0 };

export const lookOf = (kind: LaneKind, value: number): Look => looks[kind][value] ?? unknown;

// wordsOf names every value in a set of them.
export function wordsOf(kind: LaneKind, mask: number): string {
  const words: string[] = [];
  for (let v = 0; v < 8; v++) if ((mask >> v) & 1) words.push(lookOf(kind, v).word);
  return words.join(", ");
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
export const rankWord: Record<Rank, string> = { note: "note", todo: "to do", abnormal: "abnormal", act: "act at once" };

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
