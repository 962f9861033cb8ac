#include "cli/commands/terminal/quit_key.h"

#include <poll.h>
#include <termios.h>
#include <unistd.h>

namespace assay::cli {

struct QuitKey::Terminal {
    termios settings{};
};

QuitKey::QuitKey() {
    // A program in the background that touches the terminal is stopped by the system.
    if (::isatty(STDIN_FILENO) == 0 || ::tcgetpgrp(STDIN_FILENO) != ::getpgrp()) return;
    auto before = std::make_unique<Terminal>();
    if (::tcgetattr(STDIN_FILENO, &before->settings) != 0) return;
    termios single = before->settings;
    // Ctrl-C stays a signal.
    single.c_lflag &= ~static_cast<tcflag_t>(ICANON | ECHO);
    if (::tcsetattr(STDIN_FILENO, TCSANOW, &single) == 0) before_ = std::move(before);
}

QuitKey::~QuitKey() {
    if (before_) ::tcsetattr(STDIN_FILENO, TCSANOW, &before_->settings);
}

bool QuitKey::pressed() {
    if (!before_) return false;
    pollfd waiting{STDIN_FILENO, POLLIN, 0};
    while (!pressed_ && ::poll(&waiting, 1, 0) > 0 && (waiting.revents & POLLIN) != 0) {
        char key = 0;
        if (::read(STDIN_FILENO, &key, 1) != 1) break;
        pressed_ = key == 'q' || key == 'Q';
    }
    return pressed_;
}

}  // namespace assay::cli
