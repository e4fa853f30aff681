"""The test client of starlette, which warns at import that it will want another HTTP library one day."""

import warnings

with warnings.catch_warnings():
    warnings.simplefilter("ignore", DeprecationWarning)
    warnings.simplefilter("ignore", UserWarning)
    from fastapi.testclient import TestClient

__all__ = ["TestClient"]
