// A checked view on one table of a bench or job file: each getter checks type and range, and remembers that
// its key is a known one; `finish` then names the keys that no getter asked for, and those that are missing.
#pragma once

#include <array>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "cli/files/toml/complaints.h"
#include "cli/files/toml/toml_tree.h"

namespace assay::cli {

class TomlTable {
  public:
    /// `where` opens every message: `input "probe-a"`. The node must be a table and must outlive the view.
    TomlTable(const TomlNode& node, std::string where, Complaints& complaints);

    bool has(std::string_view key) const { return node_->find(key) != nullptr; }
    /// Line of the key, or of the table when it has no such key.
    int line(std::string_view key = {}) const;
    /// Lines of all keys that are there, and of "" for the table.
    std::vector<std::pair<std::string, int>> lines() const;

    std::optional<double> number(const std::string& key, const Range& range);
    std::optional<bool> flag(const std::string& key);
    /// At most 10,000 characters.
    std::optional<std::string> text(const std::string& key);
    /// A text that stands for something: not empty, one line.
    std::optional<std::string> name(const std::string& key);
    /// A text, or a TOML date as it is written.
    std::optional<std::string> date(const std::string& key);
    /// Index of the chosen word.
    std::optional<std::size_t> choice(const std::string& key, const std::vector<std::string>& words);
    /// At least one number, none of them twice.
    std::optional<std::vector<double>> numbers(const std::string& key, const Range& range);
    /// Exactly two numbers.
    std::optional<std::array<double, 2>> pair(const std::string& key, const Range& range);
    /// A table below this one.
    const TomlNode* subtable(const std::string& key);
    /// A list of anything.
    const TomlNode* list(const std::string& key);
    /// Names; none of them twice.
    std::optional<std::vector<std::string>> names(const std::string& key);
    /// The same, where one name may stand without a list.
    std::optional<std::vector<std::string>> name_or_names(const std::string& key);

    /// The key is a known one, whatever its value.
    void allow(const std::string& key) { get(key); }
    /// Told by `finish`, unless an unknown key is near it: then that is the mistake.
    void require(const std::string& key, std::string mend);
    /// The same for at least one of several; `what` says what is missing then.
    void require_one(const std::vector<std::string>& keys, std::string what, std::string mend);
    /// At most one of these.
    void exclusive(const std::vector<std::string>& keys);
    /// Something else wrong with a key.
    void complain(std::string_view key, const std::string& what, std::string mend);
    void finish();

  private:
    const TomlNode* get(const std::string& key);
    void wrong_type(const std::string& key, const TomlNode& value, std::string mend);

    const TomlNode* node_;
    std::string where_;
    Complaints* complaints_;
    std::vector<std::string> known_{};
    struct Missing {
        std::vector<std::string> keys;
        std::string what;
        std::string mend;
    };
    std::vector<Missing> missing_{};
};

/// "a text", "a list": for messages.
std::string type_in_words(const TomlNode& value);

}  // namespace assay::cli
