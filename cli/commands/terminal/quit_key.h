// The key q at a terminal, without Return: how a display that goes on by itself is left.
#pragma once

#include <memory>

namespace assay::cli {

/// Reads single keys from the terminal for as long as it lives, and gives it back as it was. Where standard
/// input is no terminal, or another program has it, no key is ever pressed.
class QuitKey {
  public:
    QuitKey();
    QuitKey(const QuitKey&) = delete;
    QuitKey& operator=(const QuitKey&) = delete;
    ~QuitKey();

    bool listens() const { return before_ != nullptr; }
    /// True once q (or Q) was pressed. Does not wait.
    bool pressed();

  private:
    struct Terminal;
    std::unique_ptr<Terminal> before_;
    bool pressed_ = false;
};

}  // namespace assay::cli
