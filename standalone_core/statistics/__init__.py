"""Statistics of studies: numbers in, frozen results out; nothing here knows what was measured.

The unit is whatever was produced once, one value each: never a point of a surface. NaN is a unit
without a value, left out and counted. What cannot be computed is NaN in the result, with a
``reason``, a code whose words are in ``reasons``; what cannot have been meant is a
``SettingError``. Differences are first minus second.

=======================  ==========================================================================
``describe``             ``describe``: mean, SD, quartiles, interval of the mean
``assumptions``          ``check_assumptions``, ``shapiro_wilk``, ``brown_forsythe``
``normal_plot``          ``normal_plot``: values against normal quantiles, with a band
``multiplicity``         ``holm``, ``benjamini_hochberg``
``two_groups``           ``compare_two``: all that follows
``welch``                ``welch_test``
``rank_sum``             ``mann_whitney`` (exact, with ties too), ``hodges_lehmann``
``effect_size``          ``hedges_g``, ``cliff_delta``
``many_groups``          ``compare_many``: ``welch_anova``, ``kruskal_wallis``, ``games_howell``,
                         ``dunn``
``studentised_range``    its distribution, fast
``rank_correlation``     two measures of the same units
``equivalence``          ``compare_with_limit``, ``shift_with_limit``: surely within a limit?
``tolerance``            ``wilson``, ``upper_tolerance_limit``
``permutation``          ``distances_from_pairs`` within each group, ``compare_distances``
``odd``                  ``find_odd``: units unlike their group, with the reason
``agreement``            ``cohen_kappa``, ``kappa_of_table`` of two raters
``many_raters``          ``fleiss_kappa``, ``gwet_coefficient`` from all scores that were given
``gauge``                ``gauge_study`` of repeated measurements
``intraclass``           ``absolute_agreement``, ``intraclass_of`` a gauge study
``sample_size``          ``size_for_difference``, ``size_for_equivalence``, power curves
``reasons``              why a number cannot be had: codes and their words
``samples``              what every function takes, checked at the door
=======================  ==========================================================================
"""
