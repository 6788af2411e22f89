/**
 * The start of a page that scripts fill, up to its body: style.css and the scripts lie beside it.
 *
 * @param first Address of the first script.
 * @param scripts Addresses of all: named at once, for the browser would find them only one by the other.
 */
export function pageHead(first: string, scripts: readonly string[]): string {
  const preloads = scripts.map((script) => `<link rel="modulepreload" href="${script}">\n`).join('');
  return `<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>Lamella</title>
<link rel="icon" href="data:,">
<link rel="stylesheet" href="style.css">
${preloads}<script type="module" src="${first}"></script>
</head>`;
}
