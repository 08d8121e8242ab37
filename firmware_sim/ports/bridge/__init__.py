"""The firmware in its own interpreter: samples and bytes in, bytes and pin edges out, over two pipes."""
