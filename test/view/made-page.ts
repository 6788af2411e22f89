import { request } from 'node:http';

export interface Reply {
  status: number;
  headers: NodeJS.Dict<string | string[]>;
  body: Buffer;
}

/** One raw request: nothing in the path or the headers is put right on its way, as a browser or `fetch` would. */
export function ask(
  address: string,
  options: { path?: string; method?: string; headers?: Record<string, string>; body?: string } = {},
): Promise<Reply> {
  const { hostname, port, pathname } = new URL(address);
  return new Promise((resolve, reject) => {
    const asked = request(
      {
        hostname,
        port,
        path: options.path ?? pathname,
        method: options.method ?? 'GET',
        headers: options.headers ?? {},
      },
      (response) => {
        const pieces: Buffer[] = [];
        response.on('data', (piece: Buffer) => pieces.push(piece));
        response.on('end', () => {
          resolve({
            status: response.statusCode ?? 0,
            headers: response.headers,
            body: Buffer.concat(pieces),
          });
        });
      },
    );
    asked.on('error', reject);
    asked.end(options.body);
  });
}
