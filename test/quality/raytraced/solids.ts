import { grain, type RaytracedScene, type Thing } from './scene-text.js';

/** Height of a stair and radius of the ball of the scene `solids`, mm. */
export const stairMm = 0.1;
export const ballRadiusMm = 0.25;

/** Stairs and a ball of known size, finely grained all over: what heights and radii are measured on. */
export function solids(seed: number): RaytracedScene {
  const things: Thing[] = [
    { geometry: 'plane{-z,-0.45}', texture: grain([0.06, 0.07, 0.08], [0.45, 0.42, 0.38], 0.05, seed) },
    {
      geometry: `sphere{<0.27,0.02,0.1>,${ballRadiusMm}}`,
      texture: grain([0.1, 0.05, 0.03], [0.55, 0.4, 0.25], 0.035, seed + 1),
    },
  ];
  for (let i = 0; i < 7; i++) {
    const y = 0.42 - i * 0.12;
    things.push({
      geometry: `box{<-0.7,${(y - 0.12).toFixed(4)},${(0.35 - i * stairMm).toFixed(4)}>,<-0.06,${y.toFixed(4)},1>}`,
      texture: grain(
        [0.05, 0.08 - 0.008 * i, 0.1],
        [0.25 + 0.05 * i, 0.5, 0.55 - 0.05 * i],
        0.04,
        seed + 2 + i,
      ),
    });
  }
  return {
    things,
    lights: 'light_source{<-40,70,-70> rgb<1,1,0.97>}light_source{<50,-20,-60> rgb<0.5,0.5,0.55> shadowless}',
  };
}
