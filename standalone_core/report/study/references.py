"""References of a study's methods text, and their numbers in the order of first mention."""

from __future__ import annotations

from dataclasses import dataclass, field

REFERENCES: dict[str, str] = {
    "welch": "Welch BL. The generalization of ‘Student’s’ problem when several different "
    "population variances are involved. Biometrika 1947;34:28–35.",
    "welch_anova": "Welch BL. On the comparison of several mean values: an alternative approach. "
    "Biometrika 1951;38:330–336.",
    "mann_whitney": "Mann HB, Whitney DR. On a test of whether one of two random variables is "
    "stochastically larger than the other. Ann Math Stat 1947;18:50–60.",
    "hodges_lehmann": "Hodges JL, Lehmann EL. Estimates of location based on rank tests. Ann Math "
    "Stat 1963;34:598–611.",
    "kruskal": "Kruskal WH, Wallis WA. Use of ranks in one-criterion variance analysis. J Am Stat "
    "Assoc 1952;47:583–621.",
    "games": "Games PA, Howell JF. Pairwise multiple comparison procedures with unequal N’s and/or "
    "variances: a Monte Carlo study. J Educ Stat 1976;1:113–125.",
    "dunn": "Dunn OJ. Multiple comparisons using rank sums. Technometrics 1964;6:241–252.",
    "holm": "Holm S. A simple sequentially rejective multiple test procedure. Scand J Stat "
    "1979;6:65–70.",
    "schuirmann": "Schuirmann DJ. A comparison of the two one-sided tests procedure and the power "
    "approach for assessing the equivalence of average bioavailability. J Pharmacokinet Biopharm "
    "1987;15:657–680.",
    "wilson": "Wilson EB. Probable inference, the law of succession, and statistical inference. J "
    "Am Stat Assoc 1927;22:209–212.",
    "benjamini": "Benjamini Y, Hochberg Y. Controlling the false discovery rate: a practical and "
    "powerful approach to multiple testing. J R Stat Soc B 1995;57:289–300.",
    "shapiro": "Shapiro SS, Wilk MB. An analysis of variance test for normality (complete "
    "samples). Biometrika 1965;52:591–611.",
    "brown": "Brown MB, Forsythe AB. Robust tests for the equality of variances. J Am Stat Assoc "
    "1974;69:364–367.",
    "hedges": "Hedges LV. Distribution theory for Glass’s estimator of effect size and related "
    "estimators. J Educ Stat 1981;6:107–128.",
    "cliff": "Cliff N. Dominance statistics: ordinal analyses to answer ordinal questions. Psychol "
    "Bull 1993;114:494–509.",
    "cohen": "Cohen J. A coefficient of agreement for nominal scales. Educ Psychol Meas "
    "1960;20:37–46.",
    "cohen_weighted": "Cohen J. Weighted kappa: nominal scale agreement with provision for scaled "
    "disagreement or partial credit. Psychol Bull 1968;70:213–220.",
    "fleiss": "Fleiss JL. Measuring nominal scale agreement among many raters. Psychol Bull "
    "1971;76:378–382.",
    "rosner": "Rosner B. Percentage points for a generalized ESD many-outlier procedure. "
    "Technometrics 1983;25:165–172.",
    "holmes": "Holmes JR, Bayne SC, Holland GA, Sulik WD. Considerations in measurement of "
    "marginal fit. J Prosthet Dent 1989;62:405–408.",
    "mclean": "McLean JW, von Fraunhofer JA. The estimation of cement film thickness by an in vivo "
    "technique. Br Dent J 1971;131:107–111.",
    "reml": "Patterson HD, Thompson R. Recovery of inter-block information when block sizes are "
    "unequal. Biometrika 1971;58:545–554.",
    "bic": "Raftery AE. Bayesian model selection in social research. Sociol Methodol "
    "1995;25:111–163.",
    "averaging": "Buckland ST, Burnham KP, Augustin NH. Model selection: an integral part of "
    "inference. Biometrics 1997;53:603–618.",
    "anderson": "Anderson MJ. Distance-based tests for homogeneity of multivariate dispersions. "
    "Biometrics 2006;62:245–253.",
    "phipson": "Phipson B, Smyth GK. Permutation P-values should never be zero: calculating exact "
    "P-values when permutations are randomly drawn. Stat Appl Genet Mol Biol 2010;9:39.",
    "iso_5725": "ISO 5725-1:2023. Accuracy (trueness and precision) of measurement methods and "
    "results. Part 1: General principles and definitions. Geneva: ISO; 2023.",
    "iso_5725_2": "ISO 5725-2:2019. Accuracy (trueness and precision) of measurement methods and "
    "results. Part 2: Basic method for the determination of repeatability and reproducibility of "
    "a standard measurement method. Geneva: ISO; 2019.",
    "shaffer": "Shaffer JP. Modified sequentially rejective multiple test procedures. J Am Stat "
    "Assoc 1986;81:826–831.",
    "graphical": "Bretz F, Maurer W, Brannath W, Posch M. A graphical approach to sequentially "
    "rejective multiple test procedures. Stat Med 2009;28:586–604.",
    "ich_e9": "ICH Harmonised Tripartite Guideline E9. Statistical principles for clinical trials. "
    "Stat Med 1999;18:1905–1942.",
    "yuen": "Yuen KK. The two-sample trimmed t for unequal population variances. Biometrika "
    "1974;61:165–170.",
    "filliben": "Filliben JJ. The probability plot correlation coefficient test for normality. "
    "Technometrics 1975;17:111–117.",
    "atkinson": "Atkinson AC. Two graphical displays for outlying and influential observations in "
    "regression. Biometrika 1981;68:13–20.",
    "gwet": "Gwet KL. Handbook of inter-rater reliability. 4th ed. Gaithersburg: Advanced "
    "Analytics; 2014.",
    "landis": "Landis JR, Koch GG. The measurement of observer agreement for categorical data. "
    "Biometrics 1977;33:159–174.",
    "shrout": "Shrout PE, Fleiss JL. Intraclass correlations: uses in assessing rater "
    "reliability. Psychol Bull 1979;86:420–428.",
    "mcgraw": "McGraw KO, Wong SP. Forming inferences about some intraclass correlation "
    "coefficients. Psychol Methods 1996;1:30–46.",
    "aiag": "Automotive Industry Action Group. Measurement systems analysis: reference manual. 4th "
    "ed. Southfield: AIAG; 2010.",
    "fisher": "Fisher RA. The logic of inductive inference. J R Stat Soc 1935;98:39–82.",
    "spearman": "Spearman C. The proof and measurement of association between two things. Am J "
    "Psychol 1904;15:72–101.",
    "bonett": "Bonett DG, Wright TA. Sample size requirements for estimating Pearson, Kendall and "
    "Spearman correlations. Psychometrika 2000;65:23–28.",
    "gower": "Gower JC. Some distance properties of latent root and vector methods used in "
    "multivariate analysis. Biometrika 1966;53:325–338.",
}
"""Where the methods come from; only those that a study used are cited."""


@dataclass(frozen=True)
class Methods:
    """A methods section.

    Attributes
    ----------
    paragraphs : tuple of str
        With numbers in square brackets that refer to the references.
    references : tuple of str
        In the order of the first citation.
    """

    paragraphs: tuple[str, ...]
    references: tuple[str, ...]

    @property
    def text(self) -> str:
        """Paragraphs and numbered references as plain text."""
        listed_references = [f"{k}. {text}" for k, text in enumerate(self.references, start=1)]
        return "\n\n".join([*self.paragraphs, "\n".join(listed_references)]) + "\n"


@dataclass
class Citations:
    """Numbers references in the order in which they are cited."""

    keys: list[str] = field(default_factory=list)

    def __call__(self, *keys: str) -> str:
        """Return the numbers of references, in brackets."""
        for key in keys:
            if key not in self.keys:
                self.keys.append(key)
        return f"[{', '.join(str(self.keys.index(key) + 1) for key in keys)}]"

    @property
    def references(self) -> tuple[str, ...]:
        """The cited references, in the order of their numbers."""
        return tuple(REFERENCES[key] for key in self.keys)
