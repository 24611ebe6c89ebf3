"""Written music: what a passage is, how it is read, written and engraved.

Comes in: notation text (MusicXML, MEI, ABC) that was checked by `reading.unpacking`.
Begin with: `worker_client`, which reads in a worker process; then `reading.reader`.
"""
