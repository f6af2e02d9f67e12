import pytest
from output_support import measure


@pytest.fixture(scope="session")
def measured():
    """A standing leg between odd heights."""
    return measure(from_mm=100.123456789, to_mm=400.0)
