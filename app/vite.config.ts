import { defineConfig } from "vitest/config";

// The server serves what is built here; nothing is fetched from anywhere else.
export default defineConfig({
  build: {
    outDir: "../src/foreaft/web/built",
    emptyOutDir: true,
    target: "es2022",
    assetsInlineLimit: 0, // the content security policy allows no inlined fonts or scripts
    modulePreload: { polyfill: false },
  },
  server: { proxy: { "/api": "http://127.0.0.1:8765" } },
  test: { environment: "happy-dom", include: ["test/**/*.test.{ts,tsx}"] },
});
