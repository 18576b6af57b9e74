# Read the table of tragus batch with base R: measured rows, mean and sigma by measure.
# Rscript read_scores.R scores.csv

arguments <- commandArgs(trailingOnly = TRUE)
if (length(arguments) != 1) stop("usage: Rscript read_scores.R scores.csv")

# An empty side means that the measure has none; only an empty number is a missing value.
scores <- read.csv(arguments[1], colClasses = "character", na.strings = character(0),
                   encoding = "UTF-8")
scores$value <- as.numeric(ifelse(scores$value == "", NA, scores$value))
scores$sigma <- as.numeric(ifelse(scores$sigma == "", NA, scores$sigma))

# What each column holds, from the file beside the table.
beside <- paste0(arguments[1], "-metadata.json")
if (file.exists(beside) && requireNamespace("jsonlite", quietly = TRUE)) {
  columns <- jsonlite::read_json(beside)$tableSchema$columns
  for (column in columns) cat(column$name, ": ", column[["dc:description"]], "\n", sep = "")
  cat("\n")
}

measured <- scores[scores$status == "measured", ]
if (nrow(measured) == 0) stop("no row of this table is measured")
# A measure may come in several units, and then each is a number of its own.
key <- measured[c("unit", "measure", "task")]
by_measure <- aggregate(list(rows = measured$value), key, length)
by_measure$mean <- round(aggregate(measured$value, key, mean)$x, 2)
by_measure$sigma <- round(aggregate(measured$sigma, key, mean)$x, 2)
print(by_measure[c("task", "measure", "unit", "rows", "mean", "sigma")], row.names = FALSE)

cat("\n")
reasons <- sort(table(scores$reason[scores$status == "unmeasured"]), decreasing = TRUE)
cat(sprintf("%4d  %s\n", reasons, names(reasons)), sep = "")
