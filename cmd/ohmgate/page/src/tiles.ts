// Tiles of the past: each is a fixed stretch of scans at one resolution. A tile
// that lies wholly in the past never changes, so it is fetched once.

import * as api from "./api";

const perTile = 256;
const tilesMax = 4000;

export interface Tile { readings?: api.Readings; segments: api.Segment[]; from: number; to: number; complete: boolean }

export class Tiles {
  private held = new Map<string, Tile>();
  private asked = new Set<string>();
  private generation = 0;
  scans = 0;
  failed = "";

  constructor(readonly reference: boolean, private changed: () => void) {}

  clear(): void {
    this.held.clear();
    this.asked.clear();
    this.generation++;
    this.scans = 0;
  }

  // stepFor is the resolution for a stretch drawn in so many pixels.
  static stepFor(scans: number, pixels: number): number {
    let step = 1;
    while (scans / step > pixels * 1.5) step *= 8;
    return step;
  }

  // see gives what is held of a lane between two scans, coarser tiles standing
  // in while finer ones are on their way.
  see(lane: string, from: number, to: number, step: number): Tile[] {
    const long = step * perTile;
    const out: Tile[] = [];
    for (let n = Math.max(0, Math.floor(from / long)); n * long <= to; n++) {
      const tile = this.held.get(`${lane} ${step} ${n}`) ?? this.standIn(lane, step, n);
      if (tile && out[out.length - 1] !== tile) out.push(tile);
    }
    return out;
  }

  private standIn(lane: string, step: number, n: number): Tile | undefined {
    let at = n * step * perTile;
    for (let coarser = step * 8; coarser <= step * 512; coarser *= 8) {
      const tile = this.held.get(`${lane} ${coarser} ${Math.floor(at / (coarser * perTile))}`);
      if (tile) return tile;
    }
    return undefined;
  }

  // want fetches what is missing, and again what was not complete, for many
  // lanes in one go.
  want(lanes: string[], from: number, to: number, step: number, now: number): void {
    const long = step * perTile;
    for (let n = Math.max(0, Math.floor(from / long)); n * long <= Math.min(to, now); n++) {
      const missing = lanes.filter((lane) => {
        const key = `${lane} ${step} ${n}`;
        const tile = this.held.get(key);
        return !this.asked.has(key) && (!tile || (!tile.complete && tile.to < Math.min(now - 1, (n + 1) * long - 1)));
      });
      if (missing.length > 0) void this.fetch(missing, n, step);
    }
  }

  private async fetch(lanes: string[], n: number, step: number): Promise<void> {
    const generation = this.generation;
    const first = n * step * perTile, last = first + step * perTile - 1;
    const keys = lanes.map((lane) => `${lane} ${step} ${n}`);
    keys.forEach((k) => this.asked.add(k));
    try {
      const got = await api.part(this.reference, first, last, perTile, lanes);
      if (generation !== this.generation) return;
      this.failed = "";
      this.scans = Math.max(this.scans, got.scans);
      lanes.forEach((lane, i) => {
        this.held.set(keys[i]!, {
          readings: got.readings[lane],
          segments: got.segments[lane] ?? [],
          from: first,
          to: Math.min(last, got.scans - 1),
          complete: got.scans > last,
        });
      });
      this.forget();
      this.changed();
    } catch (e) {
      this.failed = e instanceof Error ? e.message : String(e);
    } finally {
      keys.forEach((k) => this.asked.delete(k));
    }
  }

  // forget keeps the memory of a page that is open for weeks in bounds.
  private forget(): void {
    for (const key of this.held.keys()) {
      if (this.held.size <= tilesMax) return;
      this.held.delete(key);
    }
  }

  // valueAt is what a lane was at a scan, from the finest tile at hand.
  valueAt(lane: string, scan: number, stale = 0): { value?: number; mask?: number; ohms?: number; flags?: number; exact: boolean } {
    for (let step = 1; step <= 8 ** 7; step *= 8) {
      const tile = this.held.get(`${lane} ${step} ${Math.floor(scan / (step * perTile))}`);
      if (!tile || scan > tile.to) continue;
      let found: api.Segment | undefined;
      for (const s of tile.segments) if (s[0] <= scan) found = s;
      const r = tile.readings;
      let i = r ? Math.floor((scan - r.start) / r.step) : -1;
      // A channel that waits for its turn on the bus still reads what it read.
      for (let back = 0; r && i > 0 && r.flags[i] === 1 && back < stale; back++) i--;
      return {
        value: found?.[1],
        mask: found?.[2],
        ohms: r?.max[i] ?? undefined,
        flags: r?.flags[i],
        exact: (r?.step ?? 1) === 1,
      };
    }
    return { exact: false };
  }
}
