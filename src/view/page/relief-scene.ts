import {
  AmbientLight,
  BufferAttribute,
  BufferGeometry,
  Color,
  DirectionalLight,
  DoubleSide,
  Mesh,
  MeshLambertMaterial,
  PerspectiveCamera,
  Scene,
  SRGBColorSpace,
  Texture,
  Vector3,
  WebGLRenderer,
} from '../three/three.module.js';
import type { ReliefModel } from './read-glb.js';

/** How the relief is looked at and lit. */
export interface ReliefView {
  /** Where the eye stands: degrees to the right of and above the camera of the stack. */
  turnDegrees: number;
  tiltDegrees: number;
  /** 1: all of it is seen. */
  zoom: number;
  /** The lamp: degrees clockwise from above the picture, and above its plane. */
  lampTurnDegrees: number;
  lampHeightDegrees: number;
  /** Factor on depth; 1 is true where the scale is known. */
  exaggeration: number;
  hasPicture: boolean;
  /** Depths between which the surface is lit, and before which it is cut away; in the unit of depth. */
  slab: { near: number; far: number; isCut: boolean } | undefined;
}

const fieldDegrees = 30;
/** Share of the sphere around the relief that the field holds: its corners are seldom filled. */
const room = 0.8;
const radians = Math.PI / 180;
/** Beyond any depth. */
const nowhere = 1e30;

/** The relief drawn by WebGL; what it shows follows from `ReliefView` alone. */
export class ReliefScene {
  private readonly renderer: WebGLRenderer;
  private readonly scene = new Scene();
  private readonly camera = new PerspectiveCamera(fieldDegrees);
  private readonly lamp = new DirectionalLight('white', 2.2);
  private readonly material = new MeshLambertMaterial({ side: DoubleSide });
  private readonly slab = {
    slabNear: { value: nowhere },
    slabFar: { value: nowhere },
    cutNear: { value: -nowhere },
    slabColour: { value: new Color('#ffc857') },
  };
  private mesh: Mesh | undefined;
  private texture: Texture | undefined;
  private depthLength = 1;
  private readonly middle = new Vector3();
  private radius = 1;

  /** Throws where the browser has no WebGL. */
  constructor(canvas: HTMLCanvasElement) {
    this.renderer = new WebGLRenderer({ canvas, antialias: true, preserveDrawingBuffer: true });
    this.scene.add(new AmbientLight('white', 1.5), this.lamp, this.lamp.target);
    this.material.onBeforeCompile = (shader) => {
      Object.assign(shader.uniforms, this.slab);
      // Depth before it is exaggerated: planes stay at their frames.
      shader.vertexShader = `varying float reliefDepth;\n${shader.vertexShader}`.replace(
        '#include <begin_vertex>',
        '#include <begin_vertex>\nreliefDepth = -position.z;',
      );
      shader.fragmentShader =
        `varying float reliefDepth;\nuniform float slabNear, slabFar, cutNear;\nuniform vec3 slabColour;\n${shader.fragmentShader}`
          .replace(
            '#include <clipping_planes_fragment>',
            '#include <clipping_planes_fragment>\nif (reliefDepth < cutNear) discard;',
          )
          .replace(
            '#include <opaque_fragment>',
            'if (reliefDepth >= slabNear && reliefDepth <= slabFar) outgoingLight = mix(outgoingLight, slabColour, 0.55);\n#include <opaque_fragment>',
          );
    };
  }

  async show(model: ReliefModel): Promise<void> {
    const geometry = new BufferGeometry();
    geometry.setAttribute('position', new BufferAttribute(model.points, 3));
    geometry.setAttribute('normal', new BufferAttribute(model.normals, 3));
    geometry.setAttribute('uv', new BufferAttribute(model.texture, 2));
    geometry.setIndex(new BufferAttribute(model.triangles, 1));
    geometry.computeBoundingBox();
    const box = geometry.boundingBox;
    if (box) {
      box.getCenter(this.middle);
      this.radius = box.getSize(new Vector3()).length() / 2;
    }
    this.forget();
    this.depthLength = model.depthLength;
    if (model.picture) {
      const image = await createImageBitmap(model.picture);
      this.texture = new Texture(image);
      this.texture.flipY = false;
      this.texture.colorSpace = SRGBColorSpace;
      this.texture.anisotropy = this.renderer.capabilities.getMaxAnisotropy();
      this.texture.needsUpdate = true;
    }
    this.mesh = new Mesh(geometry, this.material);
    this.scene.add(this.mesh);
  }

  /** Draws; `background` is a CSS colour. */
  draw(view: ReliefView, width: number, height: number, pixelRatio: number, background: string): void {
    const { renderer, camera, lamp, mesh, material, slab, depthLength } = this;
    if (!mesh || width === 0 || height === 0) return;
    renderer.setPixelRatio(pixelRatio);
    renderer.setSize(width, height, false);
    this.scene.background = new Color(background);
    mesh.scale.z = view.exaggeration;
    const target = new Vector3(this.middle.x, this.middle.y, this.middle.z * view.exaggeration);
    const narrow = Math.min(1, width / height);
    const distance = (room * this.radius) / Math.sin((fieldDegrees / 2) * radians) / narrow / view.zoom;
    camera.position.copy(direction(view.turnDegrees, view.tiltDegrees)).multiplyScalar(distance).add(target);
    camera.lookAt(target);
    camera.aspect = width / height;
    const reach = this.radius * (1 + view.exaggeration);
    camera.near = Math.max(distance - reach, distance / 1000);
    camera.far = distance + reach;
    camera.updateProjectionMatrix();
    const [turn, rise] = [view.lampTurnDegrees * radians, view.lampHeightDegrees * radians];
    lamp.target.position.copy(target);
    lamp.position
      .set(Math.sin(turn) * Math.cos(rise), Math.cos(turn) * Math.cos(rise), Math.sin(rise))
      .multiplyScalar(4 * reach)
      .add(target);
    const texture = view.hasPicture ? (this.texture ?? null) : null;
    if (material.map !== texture) {
      material.map = texture;
      material.needsUpdate = true;
    }
    slab.slabNear.value = (view.slab?.near ?? nowhere) * (view.slab ? depthLength : 1);
    slab.slabFar.value = (view.slab?.far ?? nowhere) * (view.slab ? depthLength : 1);
    slab.cutNear.value = view.slab?.isCut ? view.slab.near * depthLength : -nowhere;
    renderer.render(this.scene, camera);
  }

  private forget(): void {
    if (this.mesh) {
      this.scene.remove(this.mesh);
      this.mesh.geometry.dispose();
      this.mesh = undefined;
    }
    this.texture?.dispose();
    this.texture = undefined;
  }
}

/** From the subject towards the eye. */
function direction(turnDegrees: number, tiltDegrees: number): Vector3 {
  const [turn, tilt] = [turnDegrees * radians, tiltDegrees * radians];
  return new Vector3(Math.sin(turn) * Math.cos(tilt), Math.sin(tilt), Math.cos(turn) * Math.cos(tilt));
}
