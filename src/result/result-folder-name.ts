/** Name of the result folder beside the folder of photographs where none is given: previews never take a merge's place. */
export function resultFolderName(folder: string, preview: number | undefined): string {
  return `${folder}-${preview === undefined ? 'merged' : 'preview'}`;
}
