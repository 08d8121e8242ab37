"""Nothing grows without end: ring, line buffers, decoder, batches in waiting, timed answers."""

from firmware_sim.contract.frames import FRAME_MAX
from ingest.link.clock import POINTS_MAX
from tests.simulation.checks.base import Check

OUTBOX_MAX = 16_384
# Three seconds of waiting, at the line's pace of 2304 bytes a step and the smallest record.
RECORDS_MAX = 10_000


class QueuesBounded(Check):
    """Measure every queue on both sides."""

    name = "queues bounded"

    def step(self):
        """Look after each step."""
        module, process = self.sim.module, self.sim.near.process
        if module.app is not None:
            ring, rest = module.app.ring, module.app.link.splitter.rest
            self.demand(len(rest) <= FRAME_MAX, "the module hoards what the host said")
            self.demand(0 <= ring.free_count <= ring.blocks, "the ring lost count")
        if process is None:
            return
        pipeline = process.link.pipeline
        sizes = {
            "the decoder": (len(pipeline.decoder._splitter.rest), FRAME_MAX),
            "what is to be said": (len(process.link.outbox), OUTBOX_MAX),
            "records in waiting": (pipeline.session.harvest.count + process.host.queued, RECORDS_MAX),
            "frames in waiting": (len(pipeline._waiting), RECORDS_MAX),
            "timed answers": (len(pipeline.session.clock.points), POINTS_MAX),
        }
        for name, (size, most) in sizes.items():
            self.demand(size <= most, f"{name}: {size}, at most {most} are allowed")
