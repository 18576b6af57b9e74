// A z-buffer for triangles, one source for nvcc (one thread a triangle or pixel) and g++ (loops).
//
// A screen vertex is (x, y, z): pixels, pixel centres at half-integers, and the depth along the
// optical axis in metres. A z-buffer cell holds the depth's bits above the face's number, so that
// the smaller cell is the nearer face; an empty cell has all bits set.
#pragma once
#include <math.h>
#include <stdint.h>

#ifdef __CUDACC__
#define HOST_OR_DEVICE __device__ __forceinline__
#else
#define HOST_OR_DEVICE static inline
#endif

typedef unsigned long long Cell;

#define EMPTY_CELL (~0ULL)
// A face that comes nearer than this (metres), or has a vertex at or behind the lens, isn't drawn.
#define NEAREST_DEPTH 0.05f

HOST_OR_DEVICE Cell cell_of(float depth, int face) {
  union {
    float value;
    uint32_t bits;
  } number;
  number.value = depth;
  return ((Cell)number.bits << 32) | (uint32_t)face;
}

HOST_OR_DEVICE void keep_nearer(Cell *cell, Cell candidate) {
#ifdef __CUDACC__
  atomicMin(cell, candidate);
#else
  if (candidate < *cell) *cell = candidate;
#endif
}

HOST_OR_DEVICE float doubled_area(const float *a, const float *b, const float *c) {
  return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]);
}

// Shares of a, b and c at screen point (x, y); they are negative outside the triangle.
HOST_OR_DEVICE void shares_at(const float *a, const float *b, const float *c, float inverse_area,
                              float x, float y, float shares[3]) {
  shares[0] = ((b[0] - x) * (c[1] - y) - (b[1] - y) * (c[0] - x)) * inverse_area;
  shares[1] = ((c[0] - x) * (a[1] - y) - (c[1] - y) * (a[0] - x)) * inverse_area;
  shares[2] = 1.0f - shares[0] - shares[1];
}

// Draw one face into the z-buffer of one picture.
HOST_OR_DEVICE void draw_face(const float *screen, const int32_t *faces, int face, int height,
                              int width, Cell *cells) {
  const float *a = screen + 3 * (int64_t)faces[3 * face];
  const float *b = screen + 3 * (int64_t)faces[3 * face + 1];
  const float *c = screen + 3 * (int64_t)faces[3 * face + 2];
  // Written so that a NaN depth isn't drawn either.
  if (!(a[2] > NEAREST_DEPTH && b[2] > NEAREST_DEPTH && c[2] > NEAREST_DEPTH)) return;
  float left = fminf(a[0], fminf(b[0], c[0])), right = fmaxf(a[0], fmaxf(b[0], c[0]));
  float top = fminf(a[1], fminf(b[1], c[1])), bottom = fmaxf(a[1], fmaxf(b[1], c[1]));
  if (!(right >= 0 && bottom >= 0 && left < width && top < height)) return;
  float area = doubled_area(a, b, c);
  if (!(fabsf(area) > 1e-9f)) return;
  int first_column = (int)fmaxf(0.0f, ceilf(left - 0.5f));
  int last_column = (int)fminf((float)(width - 1), floorf(right - 0.5f));
  int first_row = (int)fmaxf(0.0f, ceilf(top - 0.5f));
  int last_row = (int)fminf((float)(height - 1), floorf(bottom - 0.5f));
  for (int row = first_row; row <= last_row; row++)
    for (int column = first_column; column <= last_column; column++) {
      float shares[3];
      shares_at(a, b, c, 1.0f / area, column + 0.5f, row + 0.5f, shares);
      if (shares[0] < 0 || shares[1] < 0 || shares[2] < 0) continue;
      // 1/z, not z, is linear on the screen.
      float depth = 1.0f / (shares[0] / a[2] + shares[1] / b[2] + shares[2] / c[2]);
      keep_nearer(cells + (int64_t)row * width + column, cell_of(depth, face));
    }
}

// Attributes of the visible surface at one pixel, with perspective; zeros where there is none.
// `own` are this picture's vertex attributes, `shared` those of all pictures; channels lie
// `stride` apart in `out`.
HOST_OR_DEVICE void shade_pixel(const float *screen, const int32_t *faces, Cell cell, float x,
                                float y, const float *own, int own_channels, const float *shared,
                                int shared_channels, float *out, int64_t stride) {
  if (cell == EMPTY_CELL) {
    for (int k = 0; k < own_channels + shared_channels; k++) out[k * stride] = 0;
    return;
  }
  int face = (int)(cell & 0xffffffffULL);
  int64_t i = faces[3 * face], j = faces[3 * face + 1], k = faces[3 * face + 2];
  const float *a = screen + 3 * i, *b = screen + 3 * j, *c = screen + 3 * k;
  float shares[3];
  shares_at(a, b, c, 1.0f / doubled_area(a, b, c), x, y, shares);
  float at_a = shares[0] / a[2], at_b = shares[1] / b[2], at_c = shares[2] / c[2];
  float whole = 1.0f / (at_a + at_b + at_c);
  at_a *= whole;
  at_b *= whole;
  at_c *= whole;
  for (int q = 0; q < own_channels; q++)
    out[q * stride] = at_a * own[i * own_channels + q] + at_b * own[j * own_channels + q] +
                      at_c * own[k * own_channels + q];
  out += own_channels * stride;
  for (int q = 0; q < shared_channels; q++)
    out[q * stride] = at_a * shared[i * shared_channels + q] +
                      at_b * shared[j * shared_channels + q] +
                      at_c * shared[k * shared_channels + q];
}
