/** One triangle over the pane; every pixel gets its place in the layer's plane (east, north metres). */
export const VERTEX = `#version 300 es
uniform mat3 u_ground; // pixels (x right, y down) to metres of the layer's plane
uniform vec2 u_size;   // pixels
out vec2 v_ground;
void main() {
  vec2 clip = vec2(gl_VertexID == 1 ? 3.0 : -1.0, gl_VertexID == 2 ? 3.0 : -1.0);
  vec2 pixel = vec2(clip.x * 0.5 + 0.5, 0.5 - clip.y * 0.5) * u_size;
  v_ground = (u_ground * vec3(pixel, 1.0)).xy;
  gl_Position = vec4(clip, 0.0, 1.0);
}`;
