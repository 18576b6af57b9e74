// The rasteriser for CUDA: nvcc -O3 -shared -Xcompiler -fPIC cuda.cu
//
// Plain pointers and a stream, no torch headers: those take a minute to compile. Each function
// returns the launch's cudaError_t.
#include <cuda_runtime.h>

#include "core.h"

static const int THREADS = 128;

static dim3 blocks_for(int64_t items, int pictures) {
  return dim3((unsigned)((items + THREADS - 1) / THREADS), (unsigned)pictures);
}

__global__ void draw_faces(const float *screen, const int32_t *faces, int vertices, int face_count,
                           int height, int width, Cell *cells) {
  int face = blockIdx.x * blockDim.x + threadIdx.x;
  int64_t picture = blockIdx.y;
  if (face < face_count)
    draw_face(screen + picture * vertices * 3, faces, face, height, width,
              cells + picture * height * width);
}

__global__ void shade_pixels(const float *screen, const int32_t *faces, int vertices, int height,
                             int width, const Cell *cells, const float *own, int own_channels,
                             const float *shared, int shared_channels, float *out) {
  int64_t pixel = blockIdx.x * (int64_t)blockDim.x + threadIdx.x;
  int64_t picture = blockIdx.y;
  int64_t pixels = (int64_t)height * width;
  if (pixel < pixels)
    shade_pixel(screen + picture * vertices * 3, faces, cells[picture * pixels + pixel],
                pixel % width + 0.5f, pixel / width + 0.5f,
                own + picture * vertices * own_channels, own_channels, shared, shared_channels,
                out + picture * (own_channels + shared_channels) * pixels + pixel, pixels);
}

// Arrays as in cpu.cpp, on `device`.
extern "C" int rasterise(const float *screen, const int32_t *faces, int pictures, int vertices,
                         int face_count, int height, int width, Cell *cells, int device,
                         cudaStream_t stream) {
  cudaError_t error = cudaSetDevice(device);
  if (error != cudaSuccess) return error;
  draw_faces<<<blocks_for(face_count, pictures), THREADS, 0, stream>>>(
      screen, faces, vertices, face_count, height, width, cells);
  return cudaGetLastError();
}

extern "C" int interpolate(const float *screen, const int32_t *faces, int pictures, int vertices,
                           int height, int width, const Cell *cells, const float *own,
                           int own_channels, const float *shared, int shared_channels, float *out,
                           int device, cudaStream_t stream) {
  cudaError_t error = cudaSetDevice(device);
  if (error != cudaSuccess) return error;
  shade_pixels<<<blocks_for((int64_t)height * width, pictures), THREADS, 0, stream>>>(
      screen, faces, vertices, height, width, cells, own, own_channels, shared, shared_channels,
      out);
  return cudaGetLastError();
}
