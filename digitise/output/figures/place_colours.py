"""One colour for each kind of place for padding, in figures and on the page alike."""

from digitise.care.padding.maps import Kind

# told apart by all kinds of colour vision (Okabe and Ito's set); the number on a place says the same again
KIND_INKS: dict[Kind, str] = {
    "bulge": "#D55E00",
    "hollow": "#0072B2",
    "ridge": "#CC79A7",
    "crease": "#5B3A8E",
    "inverted taper": "#E0A800",
    "step": "#009E73",
}
