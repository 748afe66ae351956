// A straight map between a picture and a sheet: nine numbers in rows, over g x + h y + i.
import type { Place } from "./deepzoom";

export type Plane = [number, number, number, number, number, number, number, number, number];

export function through(m: Plane, at: Place): Place {
  const [a, b, c, d, e, f, g, h, i] = m;
  const over = g * at.x + h * at.y + i;
  return { x: (a * at.x + b * at.y + c) / over, y: (d * at.x + e * at.y + f) / over };
}

export function inverse(m: Plane): Plane {
  const [a, b, c, d, e, f, g, h, i] = m;
  return [
    e * i - f * h, c * h - b * i, b * f - c * e,
    f * g - d * i, a * i - c * g, c * d - a * f,
    d * h - e * g, b * g - a * h, a * e - b * d,
  ];
}

/** Six numbers of a scan, eight or nine of a photograph; undefined where they are neither. */
export function planeOf(text: string): Plane | undefined {
  const words = text.trim().split(/\s+/).map(Number);
  if (!text.trim() || words.some((one) => !isFinite(one))) return undefined;
  if (words.length === 6) words.push(0, 0);
  if (words.length === 8) words.push(1);
  return words.length === 9 ? (words as Plane) : undefined;
}
