"""The record on disk: migrations, one writer, many read-only readers, retention."""
