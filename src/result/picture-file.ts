/** The pictures of a result. */
export type PictureName = 'composite' | 'depth' | 'sources' | 'confidence' | 'coverage';

/** Name of a picture's file: `depth.tif`, and of a preview `depth-preview.tif`. */
export function pictureFile(name: PictureName, format: 'tif' | 'png' | 'jpg', isPreview: boolean): string {
  return `${name}${isPreview ? '-preview' : ''}.${format}`;
}
