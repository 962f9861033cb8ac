// The top level of a bench or job file: which tables it has.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "cli/files/toml/complaints.h"
#include "cli/files/toml/toml_tree.h"

namespace assay::cli {

/// The tables of a document's top level, by name. `one` is for [name], `list` for [[name]]; `finish` names
/// what was not asked for.
class TomlDocument {
  public:
    TomlDocument(const TomlNode& root, Complaints& complaints) : root_(&root), complaints_(&complaints) {}

    const TomlNode* one(const std::string& name);
    std::vector<const TomlNode*> list(const std::string& name);
    /// Told by `finish`, if nothing else is wrong.
    void require(const std::string& name, std::string what, std::string mend);
    void finish();

  private:
    const TomlNode* root_;
    Complaints* complaints_;
    std::vector<std::string> known_{};
    struct Required {
        std::string what;
        std::string mend;
    };
    std::vector<Required> required_{};
};

/// `input "probe-a"` by the table's key, or `input 2` where that is no text.
std::string table_label(const std::string& kind, const TomlNode& table, std::string_view key,
                        std::size_t index);

}  // namespace assay::cli
