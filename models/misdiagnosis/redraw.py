"""What other labels would have taught the classifier: its scores drawn anew, all rows together."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special
from threadpoolctl import threadpool_limits

from models.misdiagnosis.validation import recalibrate

N_STEPS = 12
SMALL_STEP = 1e-3


@dataclass(frozen=True)
class Redraw:
    """The fitted classifier with what it was fitted to.

    x: all rows, shape (n_rows, n_names). labelled: positions of the labelled rows in order of time. y (0/1), weight,
    anchor, later (logits predicted from earlier blocks, NaN where none): of the labelled rows. coefficients (intercept first),
    precision (curvature of the penalised likelihood), prior_sd: see models.misdiagnosis.classifier.
    """

    x: NDArray[np.float64]
    labelled: NDArray[np.intp]
    y: NDArray[np.float64]
    weight: NDArray[np.float64]
    anchor: NDArray[np.float64]
    coefficients: NDArray[np.float64]
    precision: NDArray[np.float64]
    prior_sd: NDArray[np.float64]
    later: NDArray[np.float64]

    def logits(self, rng: np.random.Generator, rows: NDArray | slice = slice(None)) -> NDArray[np.float64]:
        """Recalibrated logits of `rows` under one draw of the model, shape (n_rows,).

        Each label counts with a random weight of mean 1 (exponential), the penalty pulls towards a random point of its
        own prior: the draws spread as the posterior does, also in directions of which the labels say nothing. Slope and
        intercept of the recalibration are found again under the same weights, so that a draw agrees with itself.
        Source: Newton and Raftery (1994), J. R. Stat. Soc. B 56:3; Bardsley et al. (2014), SIAM J. Sci. Comput. 36:A1895.
        """
        counted = rng.standard_exponential(self.y.size)
        w = self.weight * counted
        beta = self._refit(w / self.weight.mean(), rng.standard_normal(self.prior_sd.size) * self.prior_sd)
        fitted = beta[0] + self.x[self.labelled] @ beta[1:]
        change = recalibrate(self.later, fitted, self.y, w, self.anchor * counted)
        return change.apply(beta[0] + self.x[rows] @ beta[1:])

    def _refit(self, w: NDArray, centre: NDArray) -> NDArray[np.float64]:
        """Coefficients under other weights, from the fitted ones by steps with the fitted curvature."""
        x, truth = self.x[self.labelled], self.y
        penalty = 1 / self.prior_sd**2

        def loss(beta: NDArray) -> tuple[float, NDArray]:
            logit = beta[0] + x @ beta[1:]
            moved = beta[1:] - centre
            error = w * (truth - special.expit(logit))
            slope = np.append(error.sum(), error @ x - penalty * moved)
            return float(w @ (np.logaddexp(0, logit) - truth * logit) + penalty @ moved**2 / 2), slope

        beta = self.coefficients
        with threadpool_limits(limits=1, user_api="blas"):
            now, slope = loss(beta)
            for _ in range(N_STEPS):
                step, size = np.linalg.solve(self.precision, slope), 1.0
                while (then := loss(beta + size * step))[0] > now and size > 1e-3:
                    size /= 2
                if then[0] > now:
                    break
                beta, (now, slope) = beta + size * step, then
                if np.abs(step).max() < SMALL_STEP:
                    break
        return beta
