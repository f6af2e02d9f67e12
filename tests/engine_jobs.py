"""Jobs for other processes, which import them by name."""

import os
import signal
import threading
import time

import cv2
import numpy as np

from digitise.cores import for_each


def work(job):
    """Square a number, or do what a word says."""
    if job == "killed":
        os.kill(os.getpid(), signal.SIGKILL)
    if job == "slow":
        time.sleep(60)
    if job == "at once":
        here = threading.get_ident()
        return cv2.getNumThreads(), set(for_each(lambda _: threading.get_ident(), (1, 2))) == {here}
    if job == "large":
        return float(np.ones(2**40)[0])
    if isinstance(job, str) and job.startswith("once "):
        # its process is lost the first time only
        marker = job[5:]
        if not os.path.exists(marker):
            open(marker, "w").close()
            os.kill(os.getpid(), signal.SIGKILL)
        return 0
    return job * job
