"""The examples in docstrings hold."""

import doctest
import importlib
import pkgutil

import pytest

import digitise.care
import digitise.geometry
import digitise.shape
import digitise.tape


def modules():
    for room in (digitise.geometry, digitise.shape, digitise.tape, digitise.care):
        for found in pkgutil.walk_packages(room.__path__, f"{room.__name__}."):
            if not found.ispkg:
                yield found.name


@pytest.mark.parametrize("name", list(modules()))
def test_examples(name):
    assert doctest.testmod(importlib.import_module(name), optionflags=doctest.ELLIPSIS).failed == 0
