-- Long statements draw no bars into what the program prints; it shows its own progress.
set enable_progress_bar = false;
