# The primary test of a study once more, from its tables alone:
#
#   Rscript examples/primary_test.R study_results
#
# Reads the crowns' values, compares every two groups by Welch's t test and by the Mann-Whitney
# test, and prints beside them what the study found by the test that its plan chose to lead. Needs
# nothing but R. What the columns mean: tables/README.csv.
#
# Where values are tied, R takes the normal approximation for the ranks and says so; the study goes
# through all permutations then.

folder <- c(commandArgs(trailingOnly = TRUE), "study_results")[1]

# The files begin with a byte order mark, by which spreadsheets know their letters.
read_table <- function(name) {
  read.csv(file.path(folder, name), fileEncoding = "UTF-8-BOM", stringsAsFactors = FALSE)
}

comparisons <- read_table("tables/comparisons.csv")
trueness <- read_table("tables/trueness.csv")

# Empty where the primary measure is one of fit; then read tables/fit_comparisons.csv and
# tables/fit.csv instead, which have no direction.
primary <- comparisons$primary & comparisons$crowns_included == "all"
if (!any(primary)) stop("This study has no primary comparison of deviations.")
asked <- comparisons[primary, ]

values_of <- function(group, area, measure, direction) {
  here <- trueness$group == group & trueness$area == area & trueness$measure == measure &
    trueness$direction == direction
  found <- trueness$value[here]
  found[!is.na(found)]
}

level <- 0.95  # of intervals, unless the study's plan sets another confidence
number <- function(x) format(x, digits = 8)

for (k in seq_len(nrow(asked))) {
  row <- asked[k, ]
  first <- values_of(row$first, row$area, row$measure, row$direction)
  second <- values_of(row$second, row$area, row$measure, row$direction)
  welch <- t.test(second, first, conf.level = level)
  ranks <- wilcox.test(second, first, conf.int = TRUE, conf.level = level)
  cat(row$area, ", ", row$measure, ": ", row$second, " less ", row$first, ", ",
      length(second), " and ", length(first), " crowns\n", sep = "")
  cat("  Welch: ", number(mean(second) - mean(first)), " ", row$unit,
      " (", number(welch$conf.int[1]), " to ", number(welch$conf.int[2]), "), t = ",
      number(welch$statistic), ", df = ", number(welch$parameter), ", p = ",
      number(welch$p.value), "\n", sep = "")
  cat("  Mann-Whitney: ", number(ranks$estimate), " ", row$unit,
      " (", number(ranks$conf.int[1]), " to ", number(ranks$conf.int[2]), "), U = ",
      number(ranks$statistic), ", p = ", number(ranks$p.value), "\n", sep = "")
  led <- switch(row$lead, welch = welch$p.value, ranks = ranks$p.value, NA)
  cat("  The plan's lead is ", row$lead, ": p = ", number(led), " here, ", number(row$p_value),
      " in the study, which says ", row$outcome, " after correction.\n", sep = "")
}
