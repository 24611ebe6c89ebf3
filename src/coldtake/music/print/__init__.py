"""Printed music to notation (optical music recognition): a page of a PDF, a scan or a photo.

A page becomes ink (`paper`), its staves are found and straightened (`staves`), a network reads each
from left to right as symbols (`network`, `symbols`), and these become bars with pitches and lengths
(`assembling`), each with a confidence. Nothing is silently mended: what does not add up is marked.

Comes in: the bytes of a file, through `worker_client`. Begin with: `records`, then `reading`.
"""
