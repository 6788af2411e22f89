/** The last part of the path of a folder, which is how people call it; of either kind of path, on any system. */
export function folderName(path: string): string {
  return path.split(/[\\/]/).findLast((part) => part !== '') ?? path;
}
