"""What every test shares."""

import os

# One thread per numeric library: two test workers on two cores must not fight each other.
for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(name, "1")
