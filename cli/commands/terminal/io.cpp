#include "cli/commands/terminal/io.h"

#include <fmt/format.h>
#include <sys/ioctl.h>
#include <unistd.h>

#include <chrono>
#include <csignal>
#include <cstdio>

#include "cli/files/plain_text.h"

namespace assay::cli {

namespace {

std::atomic<bool> stop{false};

void on_signal(int) {
    stop.store(true);
}

}  // namespace

int exit_status_of(capture::FaultKind kind) {
    switch (kind) {
        case capture::FaultKind::bad_arguments:
        case capture::FaultKind::bad_input_file:
        case capture::FaultKind::not_written:
            return exit_bad_input;
        case capture::FaultKind::untrusted_capture:
            return exit_untrusted;
        case capture::FaultKind::verification:
            return exit_verification;
        case capture::FaultKind::stopped:
            return exit_stopped;
        case capture::FaultKind::internal:
            break;
    }
    return exit_internal;
}

std::string one_line(const std::string& text) {
    std::string line;
    for (const char c : text) line += static_cast<unsigned char>(c) < 0x20 || c == 0x7F ? ' ' : c;
    return line;
}

std::optional<std::size_t> terminal_columns(int descriptor) {
    constexpr unsigned narrowest = 40;
    winsize size{};
    if (isatty(descriptor) == 0 || ioctl(descriptor, TIOCGWINSZ, &size) != 0 || size.ws_col < narrowest)
        return std::nullopt;
    return size.ws_col;
}

namespace {

/// Broken to the terminal's width where there is a terminal; else as it is.
std::string fitted(const std::string& text, int descriptor) {
    const auto columns = terminal_columns(descriptor);
    return columns ? broken_to(text, *columns) : text;
}

}  // namespace

int report(const capture::Fault& fault) {
    std::string line = "assay: " + one_line(fault.text);
    if (!fault.mend.empty()) line += "; " + one_line(fault.mend);
    std::fputs((fitted(line, STDERR_FILENO) + "\n").c_str(), stderr);
    return exit_status_of(fault.kind);
}

void say(const Manner& manner, const std::string& text) {
    if (!manner.quiet) std::fputs((fitted(text, STDERR_FILENO) + "\n").c_str(), stderr);
}

void prompt(const std::string& text) {
    std::fputs(fitted(text, STDERR_FILENO).c_str(), stderr);
}

void print_result(const std::string& text) {
    std::fputs(text.c_str(), stdout);
}

void print_text(const std::string& text) {
    std::fputs(fitted(text, STDOUT_FILENO).c_str(), stdout);
}

void print_answer(const Manner& manner, const std::string& text) {
    if (manner.json) return print_result(text);
    print_text(text);
}

void show_progress(const Manner& manner, const std::string& what, double done) {
    if (manner.quiet || isatty(STDERR_FILENO) == 0) return;
    using clock = std::chrono::steady_clock;
    static clock::time_point last{};
    if (clock::now() - last < std::chrono::milliseconds(100)) return;
    last = clock::now();
    std::fputs(fmt::format("\r{:<40} {:3.0f} %", what, 100.0 * done).c_str(), stderr);
}

void end_progress(const Manner& manner) {
    if (!manner.quiet && isatty(STDERR_FILENO) != 0) std::fputs("\r\033[K", stderr);
}

const std::atomic<bool>& stop_requested() {
    return stop;
}

void install_stop_handler() {
    std::signal(SIGINT, on_signal);
    std::signal(SIGTERM, on_signal);
}

}  // namespace assay::cli
