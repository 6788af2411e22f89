/** Threads in which frames are decoded: those of libuv, 4 where its environment variable says nothing. */
export const decodeThreads = Number(process.env.UV_THREADPOOL_SIZE) || 4;
