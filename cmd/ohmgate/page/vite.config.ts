import { defineConfig } from "vite";

// Everything is served by ohmgate itself: no outside host, no inline script,
// nothing as a data URL that the page's content policy would refuse.
export default defineConfig({
  base: "./",
  build: { target: "es2022", assetsInlineLimit: 0, modulePreload: { polyfill: false }, chunkSizeWarningLimit: 800 },
});
