"""A lens profile as its file holds it."""

import numpy as np

from digitise.capture.calibration.lens import PARAMETERS, ProfileForm


def lens_text() -> str:
    mean, covariance = [3000.0, 1999.5, 1499.5, 0.0, 0.0], np.diag([100.0, 25.0, 25.0, 0.01, 0.02]).tolist()
    form = ProfileForm(
        format="lens-profile/1",
        size=(4000, 3000),
        lens_key="one",
        parameters=PARAMETERS,
        mean=mean,
        covariance=covariance,
        photos=9,
        rms_px=0.5,
    )
    return form.model_dump_json()
