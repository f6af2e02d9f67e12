"""Sample visits with photographs edited, and lines round their limb as a person would draw them."""

from dataclasses import replace

import cv2
import numpy as np
from PIL import Image

from digitise.capture.outline.correction import Correction


def round_it(measured, number):
    """A line round what was found in a photograph, as a person would draw it: a point every 20 mm."""
    left, right = (edge.points[::10] for edge in measured.outlines[number].edges)
    return Correction(None, polygon=np.vstack([left, right[::-1]]))


def like_its_sheet(visit, found, folder):
    """The visit with the sheet round the arm in the arm's own colour, so that nothing tells it."""

    def hidden(number, pixels):
        skin = np.zeros(pixels.shape[:2], np.uint8)
        cv2.fillPoly(skin, [np.round(round_it(found, number).polygon).astype(np.int32)], 1)
        round_about = (cv2.dilate(skin, np.ones((121, 121), np.uint8)) > 0) & (skin == 0)
        noise = np.random.default_rng(3).normal(0, 5, (np.count_nonzero(round_about), 3))
        pixels[round_about] = np.clip(pixels[skin > 0].mean(axis=0) + noise, 0, 255)
        return pixels

    return changed(visit, folder, hidden)


def changed(visit, folder, edit):
    """The visit with photographs edited: ``edit(number, pixels)`` from 0."""
    paths = []
    for number, path in enumerate(visit.photos):
        picture = Image.open(path)
        pixels = edit(number, np.asarray(picture).copy())
        paths.append(folder / path.name)
        Image.fromarray(pixels).save(paths[-1], quality=90, exif=picture.getexif())
    return replace(visit, photos=tuple(paths))
