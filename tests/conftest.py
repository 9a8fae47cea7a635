"""One thread for numpy's products, as in the app: set before numpy is loaded, which reads it then."""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
