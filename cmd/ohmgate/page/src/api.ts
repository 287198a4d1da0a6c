// What the server says and takes. The names are those of its JSON.

export type LaneKind = "channel" | "input" | "output" | "vessel" | "stream" | "bypass";
export type Rank = "note" | "todo" | "abnormal" | "act";

export interface Lane {
  id: string;
  kind: LaneKind;
  name: string;
  title: string;
  index: number;
  accept_ohms?: number;
  reject_ohms?: number;
  open_ohms?: number;
  stale_scans?: number;
  permissive?: string;
  wait_ns?: number;
  use?: string;
  limits?: string;
  not_shown?: string;
}

export interface FaultKind { name: string; title: string; models: string; on: string[] | null; params: { name: string; default: string; words: string[] | null; what: string }[] | null }
export interface ScenarioKind { name: string; title: string }

export interface Words {
  lanes: Record<LaneKind, { word: string; short?: string }[]>; // by value
  ranks: Record<Rank, string>;
  order_unknown: string;
}

export interface Site {
  tool: string;
  site: string;
  title: string;
  hash: string;
  kind: string;
  real: boolean;
  control: boolean;
  journal: boolean;
  period_ns: number;
  deadline_ns: number;
  lanes: Lane[];
  faults: FaultKind[];
  scenarios: ScenarioKind[];
  caution: string;
  words: Words;
}

export interface Told {
  seq: number;
  run: number;
  scan: number;
  time_ns: number;
  lane: string;
  kind: string;
  rank: Rank;
  text: string;
  from?: string;
  to?: string;
  causes: string[];
  first_out?: string[];
  order_unknown?: boolean;
  why?: { rule: string; facts: { name: string; value: string }[] | null };
}

export interface Shot {
  run: number;
  scan: number;
  time_ns: number;
  drive: { mode: string; speed: number; factor: number; note: string };
  channels: { reading: string; age_ns: number; phase: string; class: string; doubt_percent: number; settled_percent: number }[] | null;
  inputs: string[] | null;
  outputs: { mode: string; withheld_by: string[]; first_out: string[]; alongside: string[]; order_unknown: boolean; unconfirmed: string[] }[] | null;
  vessels: { bond: string; may_be_charged: boolean; waiting: boolean; left_ns: number; reconnected_early: boolean }[] | null;
  bypasses: { active: boolean; left_ns: number }[] | null;
  faults: string[];
  values: number[]; // of the lanes, in their order
  overruns: number;
  late: { max_ns: number; p999_ns: number };
  advice: { rank: Rank; text: string; lane: string }[];
  journal: { on: boolean; lag_ns: number };
  reference?: { name: string; scans: number };
}

export interface Readings { start: number; step: number; min: (number | null)[]; max: (number | null)[]; flags: number[] }
export type Segment = [scan: number, value: number, mask: number];
export interface Window {
  from: number;
  to: number;
  scans: number;
  readings: Record<string, Readings>;
  segments: Record<string, Segment[]>;
}
export interface Difference { differs: boolean; scan: number; lanes: string[]; through: number; gaps: boolean }

async function get<T>(path: string): Promise<T> {
  const answer = await fetch(path, { cache: "no-store" });
  const body = (await answer.json()) as T & { error?: string };
  if (!answer.ok) throw new Error(body.error ?? `the server answered ${answer.status}`);
  return body;
}

export const site = () => get<Site>("api/v1/site");
export const state = () => get<{ epoch: number; shot: Shot | null }>("api/v1/state");
export const lastEvents = (limit: number) => get<Told[]>(`api/v1/events?limit=${limit}`);
export const referenceEvents = (limit: number) => get<Told[]>(`api/v1/events?run=reference&limit=${limit}`);
export const difference = () => get<Difference>("api/v1/difference");
export const nearest = (lane: string, scan: number) =>
  get<{ found: boolean; scan: number }>(`api/v1/nearest?lane=${encodeURIComponent(lane)}&scan=${Math.max(0, Math.round(scan))}`);
export const part = (reference: boolean, from: number, to: number, width: number, lanes: string[]) =>
  get<Window>(
    `api/v1/window?from=${from}&to=${to}&width=${width}&lanes=${lanes.map(encodeURIComponent).join(",")}${reference ? "&run=reference" : ""}`,
  );

export interface Order {
  do: "pause" | "resume" | "speed" | "scan" | "rewind" | "begin" | "act";
  speed?: number;
  scans?: number;
  scan?: number;
  keep?: boolean;
  request?: { scenario: string; seed: number; paused: boolean };
  act?: { do: string; on?: string; fault?: string; to?: string; for?: string; with?: Record<string, string> };
}

export async function order(o: Order): Promise<void> {
  const answer = await fetch("api/v1/control", { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(o) });
  if (!answer.ok) {
    const body = (await answer.json().catch(() => ({}))) as { error?: string };
    throw new Error(body.error ?? `the server answered ${answer.status}`);
  }
}

export interface Following { told: (events: Told[]) => void; state: (epoch: number, shot: Shot) => void; line: (up: boolean) => void }

// follow keeps a line open; the browser calls again by itself when it drops.
export function follow(after: number, f: Following): EventSource {
  const source = new EventSource(`api/v1/stream?after=${after}`);
  source.addEventListener("told", (e) => f.told(JSON.parse((e as MessageEvent<string>).data) as Told[]));
  source.addEventListener("state", (e) => {
    const s = JSON.parse((e as MessageEvent<string>).data) as { epoch: number; shot: Shot | null };
    if (s.shot) f.state(s.epoch, s.shot);
  });
  source.onopen = () => f.line(true);
  source.onerror = () => f.line(false);
  return source;
}
