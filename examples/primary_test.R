# The primary test of a study once more, from its tables alone:
#
#   Rscript examples/primary_test.R study_results
#
# Reads the crowns' values, compares every two groups by Welch's t test and by the Mann-Whitney
# test, says which of the two the plan chose to lead, and corrects its p-values over the primary
# comparisons by Holm. The same numbers stand in tables/comparisons.csv and in study.json. Needs
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

values_of <- function(group, area, measure) {
  here <- trueness$group == group & trueness$area == area & trueness$measure == measure &
    trueness$direction == "design_to_scan"
  trueness$value[here]
}

level <- 0.95  # of intervals, unless the study's plan sets another confidence
number <- function(x) format(x, digits = 8)
p_values <- numeric(nrow(asked))

for (k in seq_len(nrow(asked))) {
  row <- asked[k, ]
  first <- values_of(row$first, row$area, row$measure)
  second <- values_of(row$second, row$area, row$measure)
  welch <- t.test(second, first, conf.level = level)
  ranks <- wilcox.test(second, first, conf.int = TRUE, conf.level = level)
  p_values[k] <- if (row$lead == "welch") welch$p.value else ranks$p.value
  cat(row$area, ", ", row$measure, ": ", row$second, " less ", row$first, ", ",
      length(second), " and ", length(first), " crowns\n", sep = "")
  cat("  Welch: ", number(mean(second) - mean(first)), " ", row$unit,
      " (", number(welch$conf.int[1]), " to ", number(welch$conf.int[2]), "), t = ",
      number(welch$statistic), ", df = ", number(welch$parameter), ", p = ",
      number(welch$p.value), "\n", sep = "")
  cat("  Mann-Whitney: ", number(ranks$estimate), " ", row$unit,
      " (", number(ranks$conf.int[1]), " to ", number(ranks$conf.int[2]), "), U = ",
      number(ranks$statistic), ", p = ", number(ranks$p.value), "\n", sep = "")
}

cat("The plan's lead is", asked$lead[1], "\n")
corrected <- p.adjust(p_values, method = "holm")
for (k in seq_len(nrow(asked))) {
  cat("  ", asked$second[k], " less ", asked$first[k], ": p = ", number(p_values[k]),
      ", after Holm's correction ", number(corrected[k]), "\n", sep = "")
}
