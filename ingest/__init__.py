"""The near side of the cable: link, pipeline, store, analysis, exports, sinks."""
