import { defineConfig } from "vite";

export default defineConfig({
  base: "./",
  build: {
    outDir: "../src/moonless/helm/static",
    emptyOutDir: true,
    target: "es2022",
    // The map library is one large piece by nature.
    chunkSizeWarningLimit: 1500,
    // Fonts stay files: the page's policy allows none inside the style sheet.
    assetsInlineLimit: 0,
    rollupOptions: { input: ["index.html", "practice.html"], output: { manualChunks: { map: ["maplibre-gl"] } } },
  },
  worker: { format: "es" },
});
