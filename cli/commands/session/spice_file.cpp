#include "cli/commands/session/spice_file.h"

#include <fmt/format.h>

#include "cli/files/plain_text.h"

namespace assay::cli {
namespace {

/// Parts between nodes, each with a name of its own.
class Netlist {
  public:
    void add(char kind, const std::string& from, const std::string& to, double value) {
        text_ += fmt::format("{}{} {} {} {:.12g}\n", kind, ++parts_, from, to, value);
    }
    void remark(const std::string& text) { text_ += "* " + text + '\n'; }
    std::string new_node() { return std::to_string(++nodes_); }
    const std::string& text() const { return text_; }

  private:
    std::string text_{};
    int parts_ = 0;
    int nodes_ = 0;
};

bool empty(const analysis::RlLadder& ladder) {
    return ladder.r_ohm == 0.0 && ladder.l_h == 0.0 && ladder.cells.empty();
}

/// From one node to the other, with nodes of its own between the links of the chain.
void add_ladder(Netlist& list, const analysis::RlLadder& ladder, const std::string& from,
                const std::string& to) {
    std::size_t left = ladder.cells.size() + (ladder.r_ohm != 0.0 ? 1 : 0) + (ladder.l_h != 0.0 ? 1 : 0);
    std::string here = from;
    const auto next = [&] { return --left == 0 ? to : list.new_node(); };
    if (ladder.r_ohm != 0.0) {
        const std::string there = next();
        list.add('R', here, there, ladder.r_ohm);
        here = there;
    }
    for (const analysis::RlCell& cell : ladder.cells) {
        const std::string there = next();
        list.add('R', here, there, cell.r_ohm);
        list.add('L', here, there, cell.l_h);
        here = there;
    }
    if (ladder.l_h != 0.0) list.add('L', here, next(), ladder.l_h);
}

}  // namespace

std::string spice_subcircuit(const analysis::EquivalentCircuit& circuit,
                             const std::vector<std::string>& comments) {
    Netlist list;
    list.remark("Resistance of the coil to direct current.");
    std::string here = list.new_node();
    list.add('R', "plus", here, circuit.re_ohm);
    if (circuit.coil_series_h != 0.0 || !empty(circuit.coil)) list.remark("Coil.");
    if (circuit.coil_series_h != 0.0) {
        const std::string there = list.new_node();
        list.add('L', here, there, circuit.coil_series_h);
        here = there;
    }
    if (!empty(circuit.coil)) {
        const std::string there = list.new_node();
        if (circuit.coil_across_h) list.add('L', here, there, *circuit.coil_across_h);
        add_ladder(list, circuit.coil, here, there);
        here = there;
    }
    list.remark("Cone: moving mass as a capacitor, viscous loss as a resistor, suspension as inductance.");
    list.add('C', here, "minus", circuit.cone_f);
    if (circuit.cone_loss_ohm) list.add('R', here, "minus", *circuit.cone_loss_ohm);
    add_ladder(list, circuit.suspension, here, "minus");
    std::string out;
    for (const std::string& comment : comments) out += "* " + visible_text(comment) + '\n';
    return out + ".subckt driver plus minus\n" + list.text() + ".ends driver\n";
}

}  // namespace assay::cli
