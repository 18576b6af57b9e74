"""A z-buffer rasteriser of triangles for batches of pictures, on CUDA or the CPU.

A screen vertex is (x, y, z): pixels, with pixel centres at half-integers, and depth in metres. A
face with a vertex nearer than 5 cm isn't drawn, so z = 0 hides a vertex. Both sides of a face are
drawn. All pictures of a batch share the faces.

The library is compiled at first use, by g++ or nvcc, and kept in the temporary folder.
"""

import ctypes
import hashlib
import os
import subprocess
import tempfile
from functools import lru_cache
from pathlib import Path

import torch

SOURCE = Path(__file__).resolve().parent
EMPTY = -1


@lru_cache(maxsize=None)
def _library(on_cuda):
    source = SOURCE / ("cuda.cu" if on_cuda else "cpu.cpp")
    if on_cuda:
        from torch.utils.cpp_extension import CUDA_HOME

        if CUDA_HOME is None:
            raise RuntimeError("no CUDA compiler: install the CUDA toolkit or set CUDA_HOME")
        architecture = "sm_{}{}".format(*torch.cuda.get_device_capability())
        compiler = [f"{CUDA_HOME}/bin/nvcc", "-O3", f"-arch={architecture}", "-shared", "-Xcompiler", "-fPIC"]
    else:
        compiler = ["g++", "-O3", "-march=native", "-fopenmp", "-shared", "-fPIC"]
    recipe = " ".join(compiler).encode() + (SOURCE / "core.h").read_bytes() + source.read_bytes()
    folder = Path(tempfile.gettempdir()) / f"landmark-raster-{os.getuid()}"
    folder.mkdir(mode=0o700, exist_ok=True)
    library = folder / f"{hashlib.sha256(recipe).hexdigest()[:16]}.so"
    if not library.exists():
        # Several processes may build at once: each writes its own file and renames it.
        part = library.with_suffix(f".{os.getpid()}.so")
        subprocess.run([*compiler, "-o", str(part), str(source)], check=True)
        part.replace(library)
    return ctypes.CDLL(str(library))


def _call(name, device, *arguments):
    """Call a function of the library; tensors go as pointers, and CUDA gets device and stream too."""
    on_cuda = device.type == "cuda"
    passed = [
        ctypes.c_void_p(a.data_ptr()) if isinstance(a, torch.Tensor) else ctypes.c_int(a) for a in arguments
    ]
    if on_cuda:
        stream = torch.cuda.current_stream(device)
        passed += [ctypes.c_int(device.index), ctypes.c_void_p(stream.cuda_stream)]
    error = getattr(_library(on_cuda), name)(*passed)
    if on_cuda and error:
        raise RuntimeError(f"{name}: CUDA error {error}")


def _checked(screen, faces):
    if faces.dtype != torch.int32 or not faces.is_contiguous():
        raise ValueError("faces must be contiguous int32")
    if faces.device != screen.device:
        raise ValueError("screen and faces must be on one device")
    return screen.detach().contiguous().float()


def rasterise(screen, faces, height, width):
    """The nearest face at each pixel: z-buffer (B, height, width), int64; see `depth`.

    `screen` (B, N, 3) is x, y in pixels and z in metres, `faces` (F, 3) int32.
    """
    screen = _checked(screen, faces)
    pictures, vertices = screen.shape[:2]
    zbuffer = torch.full((pictures, height, width), EMPTY, dtype=torch.int64, device=screen.device)
    _call("rasterise", screen.device, screen, faces, pictures, vertices, len(faces), height, width, zbuffer)
    return zbuffer


def interpolate(screen, faces, zbuffer, own, shared):
    """Vertex attributes at each pixel, with perspective: (B, C + D, height, width), 0 where nothing is.

    `own` (B, N, C) differs from picture to picture, `shared` (N, D) is the same in all. `screen` and
    `faces` must be those the z-buffer was made from.
    """
    screen = _checked(screen, faces)
    own, shared = own.detach().contiguous().float(), shared.detach().contiguous().float()
    zbuffer = zbuffer.contiguous()
    pictures, vertices = screen.shape[:2]
    if own.shape[:2] != (pictures, vertices) or len(shared) != vertices:
        raise ValueError(
            f"attributes {tuple(own.shape)}, {tuple(shared.shape)} for {tuple(screen.shape)} vertices"
        )
    if not own.device == shared.device == zbuffer.device == screen.device:
        raise ValueError("all must be on one device")
    height, width = zbuffer.shape[1:]
    channels = own.shape[2], shared.shape[1]
    out = torch.empty(pictures, sum(channels), height, width, device=screen.device)
    _call(
        "interpolate",
        screen.device,
        *(
            screen,
            faces,
            pictures,
            vertices,
            height,
            width,
            zbuffer,
            own,
            channels[0],
            shared,
            channels[1],
            out,
        ),
    )
    return out


def depth(zbuffer):
    """Depth along the optical axis in metres, (B, height, width); infinite where nothing is."""
    metres = (zbuffer >> 32).to(torch.int32).view(torch.float32)
    return torch.where(zbuffer == EMPTY, torch.inf, metres)
