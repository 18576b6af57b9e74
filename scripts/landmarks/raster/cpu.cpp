// The rasteriser for the CPU: g++ -O3 -fopenmp -shared -fPIC cpu.cpp
#include "core.h"

// screen (pictures, vertices, 3), faces (face_count, 3), cells (pictures, height, width) all empty.
extern "C" void rasterise(const float *screen, const int32_t *faces, int pictures, int vertices,
                          int face_count, int height, int width, Cell *cells) {
#pragma omp parallel for schedule(dynamic)
  for (int picture = 0; picture < pictures; picture++)
    for (int face = 0; face < face_count; face++)
      draw_face(screen + (int64_t)picture * vertices * 3, faces, face, height, width,
                cells + (int64_t)picture * height * width);
}

// own (pictures, vertices, own_channels), shared (vertices, shared_channels),
// out (pictures, own_channels + shared_channels, height, width).
extern "C" void interpolate(const float *screen, const int32_t *faces, int pictures, int vertices,
                            int height, int width, const Cell *cells, const float *own,
                            int own_channels, const float *shared, int shared_channels,
                            float *out) {
  int64_t pixels = (int64_t)height * width;
  int channels = own_channels + shared_channels;
#pragma omp parallel for schedule(dynamic)
  for (int picture = 0; picture < pictures; picture++)
    for (int64_t pixel = 0; pixel < pixels; pixel++)
      shade_pixel(screen + (int64_t)picture * vertices * 3, faces, cells[picture * pixels + pixel],
                  pixel % width + 0.5f, pixel / width + 0.5f,
                  own + (int64_t)picture * vertices * own_channels, own_channels, shared,
                  shared_channels, out + picture * channels * pixels + pixel, pixels);
}
