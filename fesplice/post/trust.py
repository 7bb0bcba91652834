"""What a prediction of a lapped hook rests on, said once, for README, manual and the page of a prediction.

Statements are those that the part of models/studies/TRENDS.md on real series sets beside what the model gives; whoever
changes what the model gives reads them again.
"""

from __future__ import annotations

#: What the prediction rests on; what it agrees with and what not; what a test of one's own adds.
SENTENCES = (
    "No complete published test of a lapped hook was at hand, so its prediction rests on parts that were checked "
    "alone: bond that holds the mean stress of a published equation for straight laps, hooks that split by a law "
    "whose one constant is fitted to points of an equation for hooks in joints and which was set beside nine "
    "tests of such joints, beams and panels; and on judgement values of the plan that no test has settled.",
    "With the bars alternating as in real series the few cases computed so far agree with published statements that "
    "a hooked lap holds more than the straight one of its bars (Wang et al. 2024; Han & Chun 2024); they do not agree "
    "that it holds no more (Judd 1965), nor that spacing makes no difference where no transverse steel is (Kluge & "
    "Tuma 1945, straight bars), for it gains with the spacing while the beam widens; the whole series is "
    "models/studies/real-series.toml.",
    "A test of your own sharpens it: freeze the prediction, test, lay the test over it (compare) and let learn "
    "move the band; gauges at both ends of a lead and the lift of the cover at the hooks show which part was "
    "wrong, and one specimen with transverse steel beside one without settles more than two alike.",
)
#: The same as one text.
TEXT = " ".join(SENTENCES)
