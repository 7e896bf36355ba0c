# Cumulative incidence and Gray's test by R's cmprsk. Arguments: a CSV with time, cause, group; where to write.
suppressMessages(library(cmprsk))
paths <- commandArgs(trailingOnly = TRUE)
rows <- read.csv(paths[1])
cost <- system.time(found <- cuminc(rows$time, rows$cause, rows$group))
at <- timepoints(found, c(7, 14, 30, 60, 90) * 1440)$est
writeLines(c(sprintf("seconds,%.3f", cost[["user.self"]] + cost[["sys.self"]]),
             sprintf("gray %d,%.10g", seq_len(nrow(found$Tests)), found$Tests[, "stat"]),
             sprintf("%s day %d,%.10g", rep(rownames(at), 5), rep(c(7, 14, 30, 60, 90), each = nrow(at)), c(at))),
           paths[2])
