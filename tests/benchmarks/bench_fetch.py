"""Bytes that a window needs, and bytes that are sent for it."""

import tempfile
import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import numpy as np
import rasterio
from affine import Affine
from pyproj import Transformer
from rasterio.windows import Window
from telling import say

from sitekit.io.remote import read_window

SIDE, CELL = 8192, 2.0
WEST, NORTH = 500_000.0, 5_130_000.0


class Files(BaseHTTPRequestHandler):
    """One file by ranges; counts what is sent."""

    protocol_version = "HTTP/1.1"

    def log_message(self, *_args):
        """Say nothing."""

    def do_HEAD(self):
        """Answer without the file."""
        self.do_GET(body=False)

    def do_GET(self, *, body=True):
        """Send the range asked for."""
        data, asked = self.server.data, self.headers.get("Range", "")
        start, _, stop = (asked or "bytes=0-")[6:].partition("-")
        part = data[int(start) : int(stop or len(data) - 1) + 1]
        self.send_response(206 if asked else 200)
        if asked:
            told = f"bytes {start}-{int(start) + len(part) - 1}/{len(data)}"
            self.send_header("Content-Range", told)
        self.send_header("Content-Length", str(len(part)))
        self.end_headers()
        if body:
            self.server.sent += len(part)
            self.wfile.write(part)


def make_ground(path):
    """Write 67 million heights as a cloud-optimised GeoTIFF."""
    random = np.random.default_rng(3)
    rows, columns = np.mgrid[:SIDE, :SIDE].astype(np.float32)
    heights = 500 + 0.05 * columns + np.sin(rows / 40) * 8
    heights += random.normal(0, 0.05, heights.shape).astype(np.float32)
    with rasterio.open(
        path,
        "w",
        driver="COG",
        width=SIDE,
        height=SIDE,
        count=1,
        dtype="float32",
        crs="EPSG:32633",
        transform=Affine(CELL, 0, WEST, 0, -CELL, NORTH),
        compress="deflate",
        predictor=3,
    ) as raster:
        raster.write(heights.astype(np.float32), 1)


def needed(path, window):
    """Count the bytes of the blocks that the window touches."""
    with rasterio.open(path) as raster:
        return sum(
            raster.block_size(1, i, j)
            for (i, j), block in raster.block_windows(1)
            if rasterio.windows.intersect(block, window)
        )


def run():
    """Print bytes needed, bytes sent and their ratio."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "ground.tif"
        make_ground(path)
        server = ThreadingHTTPServer(("127.0.0.1", 0), Files)
        server.data, server.sent = path.read_bytes(), 0
        threading.Thread(target=server.serve_forever, daemon=True).start()
        to_degrees = Transformer.from_crs(32633, 4326, always_xy=True)
        for side in (1000.0, 2500.0, 5000.0):
            left, top = WEST + 3000, NORTH - 3000
            bounds = to_degrees.transform_bounds(left, top - side, left + side, top)
            server.sent = 0
            got = read_window(
                f"http://127.0.0.1:{server.server_port}/{side}.tif",
                bounds,
                Path(folder) / "cache",
            )
            rows, columns = got.heights.shape
            offset = got.profile["transform"]
            window = Window(
                (offset.c - WEST) / CELL, (NORTH - offset.f) / CELL, columns, rows
            )
            least = needed(path, window)
            say(
                f"{side / 1000:g} km: {server.sent / 1e6:.2f} MB sent of "
                f"{len(server.data) / 1e6:.0f}, {server.sent / least:.2f} times the blocks"
            )
        server.shutdown()


if __name__ == "__main__":
    run()
